"""The page that redraws: a server on this machine, the page's hands, and what it asks of the other rooms."""
