// Talking with the server: plain answers, rides as columns of floats, and long answers line by line.

export class Fault extends Error {}
export class There extends Error {} // a file of that name is there

async function posted(path, sent, more = {}) {
  let answer;
  try {
    answer = await fetch(path, { method: "POST", body: JSON.stringify(sent), ...more });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Fault("the server does not answer: is `ridesim live` still running?");
  }
  return checked(answer);
}

async function checked(answer) {
  if (answer.ok) {
    if (answer.headers.get("content-type") !== "application/json") return answer;
    const said = await answer.clone().json();
    if ("there" in said) throw new There(said.there);
    if ("error" in said) throw new Fault(said.error);
    return answer;
  }
  if (answer.status === 413) throw new Fault("the file is too large");
  throw new Fault(`the server refuses (${answer.status}): reload the page from the address that it printed`);
}

export async function ask(path, sent) {
  return (await posted(path, sent)).json();
}

// A head and its columns: the head's length, the head, then 32-bit floats column by column.
export async function columns(path, sent) {
  const buffer = await (await posted(path, sent)).arrayBuffer();
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const table = {};
  head.columns.forEach((name, at) => {
    table[name] = new Float32Array(buffer, 4 + length + 4 * at * head.rows, head.rows);
  });
  return { ...head, table };
}

// A long answer: `told(done)` as it goes, the result at its end. `signal` stops it.
export async function long(sent, signal, told = () => {}) {
  const answer = await posted("more", sent, { signal });
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) throw new Fault("the answer broke off: ask again");
    const lines = (rest + value).split("\n");
    rest = lines.pop();
    for (const line of lines) {
      const said = JSON.parse(line);
      if (said.error) throw new Fault(said.error);
      if ("result" in said) return said.result;
      if ("done" in said) told(said.done);
    }
  }
}

export async function drop(file) {
  let answer;
  try {
    answer = await fetch(`drop?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
  } catch {
    throw new Fault(`${file.name}: could not be sent`);
  }
  return (await checked(answer)).json();
}
