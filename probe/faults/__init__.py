"""The fault finder: the next best question, the light that goes with it, and what the answers say about the cause.

Beliefs run over causes and pairs of causes (`engine`), from tables of judged likelihoods in `data/` (`tables` reads them
into `knowledge`). They are hints, never certainty; every question that needs hands in the wiring carries its cautions.

What others use:

- `search`: `start` and `start_practice` begin a `state.Search`, `step` takes it on.
- `words`: what a search says (`headline`, `details`, `suspect_lines`, `light_words`) and `sheet`, a joint's colour sheet.
- `tables.load`: the knowledge; `explain.reply_words`: what is seen or read, in words.

Within: `context` (what the map tells before the first question), `meter` (typed readings), `joint` (four look-alikes at
one joint), `locate` (halving, return wire), `flexlog`, `byte_order` (orders from colours seen), `asking` (what comes next
and its light), `fault_patterns` (a pattern by the board's clock or by pictures), `jobs` (halving, colours, flex, return
wire, soak), `log` (what is left in the map).
"""
