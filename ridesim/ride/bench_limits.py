"""The part of the one list that no ride sees: packs as planned, cell groups, windings, bench readings, papers.

`limits.LIMITS` holds it with the rest; nobody else reads it.
"""

from __future__ import annotations

import math

from ridesim.ride.rule import LOOK_AGAIN, Rule

BENCH_LIMITS: dict[str, Rule] = {
    "pack_cell_current": Rule(
        "cell current, as planned", "a", "the cells, warm in a closed case", "more cells in parallel, or less current",
        "cell data sheet; four fifths of it is a guess", near_share=0.2, tolerance_share=1e-9,
        broken="cells overloaded",
    ),
    "pack_sag": Rule(
        "voltage lost in the cells", "v", "range and pull: past half the voltage the cells give less the more you ask",
        "more cells in parallel, or cells of less resistance",
        "half the voltage is the most power of any source (circuit law); a fifth of that is a guess", near_share=0.8,
    ),
    "pack_voltage": Rule(
        "pack voltage beside the one wanted", "fraction", "the speed that the motor was chosen for",
        "another count in series, or another cell", "one cell in twenty (guess)", passed=LOOK_AGAIN,
    ),
    "charging_current": Rule(
        "charging current of a cell", "a", "the cells: lithium plates out when they are charged too fast or too cold",
        "a weaker charger, or warmer cells", "cell data sheet; a supplier's table by temperature",
        tolerance_share=1e-9,
    ),
    "charging_cold": Rule(
        "charging, cold", "c", "the cells: lithium plates out when they are charged below freezing",
        "warm the pack first", "cell data sheets", floor=True,
    ),
    "charging_hot": Rule(
        "charging, hot", "c", "the cells, which age fast and can vent", "let the pack cool first",
        "55 °C in a supplier's table; most sheets end at 45 °C", near=10.0,
    ),
    "ageing": Rule(
        "capacity lost", "fraction", "the range of later years", "less charge at rest, a cooler place",
        "a fifth is called worn out (common practice)", passed=LOOK_AGAIN,
    ),
    "group_voltage": Rule(
        "voltage between groups", "v", "the weakest group, which empties and fills first", "balance or replace it",
        "common practice, no source", near=0.08,
    ),
    "group_capacity": Rule(
        "capacity between groups", "fraction", "the weakest group, which empties first",
        "other cells, or another order", "common practice, no source", near=0.03,
    ),
    "group_resistance": Rule(
        "resistance between groups", "fraction", "the group that sags first", "other cells, or another order", "guess",
        passed=LOOK_AGAIN,
    ),
    "cell_share": Rule(
        "load of one cell beside its even share", "", "that cell: it warms and ages first",
        "cells of like resistance in one group", "guess", passed=LOOK_AGAIN,
    ),
    "slot_fill": Rule(
        "slot fill", "", "the enamel, scraped where wire is forced in", "thinner wire, fewer strands or turns",
        "round wires in rows fill pi/4 (geometry); hands reach 0.4 (common practice, no source)",
        near=math.pi / 4.0 - 0.40,
    ),
    "slot_copper": Rule(
        "copper beside today's", "", "the enamel: more copper may not fit", "measure the slot", "today's winding fits",
        passed=LOOK_AGAIN, tolerance_share=1e-9,
    ),
    "copper_density": Rule(
        "current density, lasting", "a_per_mm2", "a rule of thumb, no more: the ride decides",
        "more copper, or name a build and let its ride decide", "3 to 6 A/mm² (rule of thumb, from memory)",
        passed=LOOK_AGAIN,
    ),
    "wire_counted": Rule(
        "resistance by the wire beside the measured", "fraction", "all that is computed from today's winding",
        "count turns and strands again", "guess", passed=LOOK_AGAIN,
    ),
    "bench_error": Rule(
        "error of a measured value", "fraction", "what is computed from it", "more readings, or finer meters",
        "1 in 20 (guess)", passed=LOOK_AGAIN,
    ),
    "bench_resistance_error": Rule(
        "error of a resistance under load", "fraction", "what is computed from it", "loads further apart",
        "16 points each of 13 measured small outrunners", passed=LOOK_AGAIN,
    ),
    "bench_drag_error": Rule(
        "error of the drag torque", "fraction", "the iron loss of every ride", "more points, speeds further apart",
        "guess", passed=LOOK_AGAIN,
    ),
    "bench_run_error": Rule(
        "error of a number found from a run", "fraction", "what a ride makes of it",
        "a longer run, a further sensor, or another run", "a quarter; a fifth of an inertia (guesses)",
        passed=LOOK_AGAIN,
    ),
    "bench_rows": Rule(
        "readings far off the rest", "", "what is fitted to them: they pull it",
        "look at those rows; measure them again",
        "none is expected six deviations off (guess)", passed=LOOK_AGAIN,
    ),
    "bench_scatter": Rule(
        "points that contradict each other", "fraction", "all that is fitted to them", "repeat, warm and steady",
        "guess",
    ),
    "bench_sign": Rule(
        "a drag, a Kv or a resistance", "", "sense: no motor has one below zero", "repeat, warm and steady",
        "physics", floor=True,
    ),
    "bench_speeds": Rule(
        "fastest over slowest no-load speed", "", "the two drag terms, told apart by speed", "speeds further apart",
        "guess", passed=LOOK_AGAIN, floor=True, tolerance_share=1e-9,
    ),
    "name_plate": Rule(
        "Kv beside the printed one", "fraction", "you, from a wrong label or a wrong reading", "measure again",
        "measured outrunners beside their labels", passed=LOOK_AGAIN,
    ),
    "lead_pairs": Rule(
        "resistance between pairs of leads", "fraction", "the motor: a bad joint, a shorted turn or a slipped clip",
        "measure again, then look for it", "common practice, no source", passed=LOOK_AGAIN,
    ),
    "stated_power": Rule(
        "most power beside the stated one", "w", "your word: a rating that nobody will believe",
        "limit it with controller.motor_power_limit_w, or be ready to prove the continuous rating",
        "three times the stated power (guess)", passed=LOOK_AGAIN,
    ),
    "log_key_moved": Rule(
        "a number of the build, moved by a log", "", "the build: a log of another bike would spoil it",
        "look whether the log is of this bike, and whether the column is what it is said to be",
        "deviations of its tolerance; six, and three and a half, are guesses", near=2.5, broken="another bike's log",
    ),
    "log_parts": Rule(
        "measured beside computed", "", "trust in the computed rides", "see the likely causes, then `ridesim fit`",
        "three times the sensor's error, or a fiftieth of the reading (guess)", passed=LOOK_AGAIN,
    ),
    "log_strange": Rule(
        "measured beside computed, whatever is fitted", "", "the build: a log of another bike would spoil it",
        "look whether the log is of this bike, and whether the column is what it is said to be",
        "by channel (guess)", broken="not this bike's log",
    ),
    "log_road": Rule(
        "half minutes of the road beside the computed", "w", "the fit of drag and rolling",
        "a calm day, the same road, and no pedalling that is not logged", "15 to 60 W of scatter are usual (guess)",
        passed=LOOK_AGAIN,
    ),
    "log_balance": Rule(
        "what motor and rider give beside what the log's road asks, mean", "w",
        "trust in the computed energy and range",
        "mass, tyres and drags, what the rider gives, wind; then `ridesim fit`",
        "a quarter of what is asked, 40 W, or three errors of the mean (guess)", passed=LOOK_AGAIN,
    ),
    "log_braked": Rule(
        "time in which a brake would hold the bike back while its motor drives", "fraction",
        "the build: an altitude of another road would spoil it",
        "look whether altitude and log are of one ride, and the total mass",
        "nobody brakes against his motor; a quarter of the time is a guess", broken="another road's log",
    ),
    "log_pack_full": Rule(
        "highest logged voltage beside a full pack", "fraction", "the build: the log is of another pack",
        "give the pack's cells in series", "4 % over full cells (guess)", broken="another pack's log",
    ),
    "log_pack_empty": Rule(
        "usual logged voltage beside an empty pack", "v", "the build: the log is of another pack",
        "give the pack's cells in series", "pack.cell.min_voltage_v", floor=True, broken="another pack's log",
    ),
    "law_class": Rule(
        "changes that the nearest class asks for", "", "your right to ride on public roads",
        "make the changes, and ask local law and licensed advice", "the documents named in `workshop.law.classes`",
        broken="in no class",
    ),
    "law_approval": Rule(
        "type approvals that the class asks for", "", "your right to ride on public roads",
        "make the changes of a friendlier class", "the documents named in `workshop.law.classes`", passed=LOOK_AGAIN,
    ),
    "log_air": Rule(
        "what a log's parts begin at beside the air it is taken to have", "k", "everything that heat tells",
        "give weather.temperature_c of that day, or log the air", "8 K (guess)", passed=LOOK_AGAIN,
    ),
    "log_ratio": Rule(
        "road speed beside motor speed", "fraction", "the build: the log is of another drive",
        "give teeth, wheel and pole pairs", "8 % (guess)", broken="another drive's log",
    ),
    "coast_spread": Rule(
        "how well coast-downs agree", "fraction", "what is computed with their drag", "coast more often, both ways",
        "three tenths of the fitted value (guess)", passed=LOOK_AGAIN,
    ),
    "coast_edge": Rule(
        "how far a fitted number is from the edge of its search", "fraction",
        "what is computed with it: at the edge the runs do not tell it", "see mass, units, and a brake that drags",
        "a thousandth of what is searched (guess)", floor=True, broken="not told by the runs",
    ),
    "coast_runs": Rule(
        "coast-downs, or pairs there and back, that are compared", "", "what is computed with their drag",
        "coast again: one run says nothing of its own error", "two", passed=LOOK_AGAIN, floor=True,
    ),
    "coast_ways": Rule(
        "ways in which coast-downs were run", "", "what is computed with their drag",
        "coast back over the same road: slope and wind then fall out", "two: there and back", passed=LOOK_AGAIN,
        floor=True,
    ),
    "log_work": Rule(
        "work predicted beside work done", "percent", "trust in the drags of a log",
        "a steady recorder, a calm day, the right mass", "five recorded rides of others", passed=LOOK_AGAIN,
    ),
    "log_likeness": Rule(
        "how alike predicted and measured power run", "", "trust in the drags of a log",
        "a steady recorder, a calm day, the right mass", "five recorded rides of others", passed=LOOK_AGAIN, floor=True,
    ),
    "log_edges": Rule(
        "fitted numbers at the edge of their search", "", "what is computed with them",
        "see mass, altitude and pedal power of the log", "none is expected (guess)", passed=LOOK_AGAIN,
    ),
    "log_faults": Rule(
        "readings of a column with a fault", "fraction", "what is learned from the column",
        "see the recorder, or leave the column out in the mapping", "1 %; of gaps and empty readings 5 % (guess)",
        passed=LOOK_AGAIN,
    ),
    "cell_met": Rule(
        "a cell's voltages beside its fitted circuit, rms", "mv", "rides that are computed with the cell",
        "see the runs' clock, current and charge; add pulses", "measured cells of a kind (the outside checks)",
        passed=LOOK_AGAIN,
    ),
    "cell_edge": Rule(
        "how far a number of a cell's circuit is from the edge of its search", "fraction",
        "rides that are computed with it: at the edge the runs do not tell it",
        "see capacity and first charge; add pulses",
        "a ten-thousandth of what is searched (guess)", passed=LOOK_AGAIN, floor=True,
    ),
    "cell_pulses": Rule(
        "runs with pulses", "", "the split of a cell's resistance in a fast and a slow part",
        "add a run with pulses: load and rest by turns", "one (physics: a steady load shows their sum alone)",
        passed=LOOK_AGAIN, floor=True,
    ),
    "winding_keys": Rule(
        "keys of the motor that the winding takes out of their range", "", "you, from a motor that nobody winds",
        "turns and strands nearer to today's", "the ranges of [motor] (`ridesim new --keys`)", broken="no such motor",
    ),
    "belt_stages": Rule(
        "stages that have pulleys", "", "the reduction, which is made by pulleys that there are",
        "more stages, less reduction, or a larger wheel", "the stages asked for", floor=True, broken="no pulleys fit",
    ),
}  # fmt: skip
"""Limits of calculators that need no ride, by their name in JSON."""
