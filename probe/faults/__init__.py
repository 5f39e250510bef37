"""The fault finder: the next best question, the light that goes with it, and what the answers say about the cause.

Beliefs run over causes and pairs of causes (`engine`), from tables of judged likelihoods in `data/` (`tables` reads them
into `knowledge`). They are hints, never certainty; every question that needs hands in the wiring carries its cautions. An answer that may
mean danger opens a hazard, and nothing that needs power is put before the safe reading that closes it
(`engine.may_power`, `knowledge.CLEARED_BY`). After a limited number of questions what is known is handed over.

What others use:

- `search`: `make` gives the task `FaultSearchTask` and its first state for a chain, or for a practice round (`FaultFacts`,
  `Hidden`).
- `commands`: its keys, and the events that no other task knows. Light to import.
- `view.sheet`: a joint's sheet of functions and colours, with the cautions.
- `tables.load`: the knowledge; `explain.reply_words`: what is seen or read, in words.

Within: `context` (what the map says before the first question), `meter` (typed readings), `joint` (faults of one
joint that look alike), `locate` (halving, return wire), `flexlog`, `byte_order` (orders from colours seen), `asking` (what comes next), `state`
(the search and the light that belongs to it), `light` (a pattern by the board's clock or by pictures), `jobs` (halving,
colours, flex, return wire, soak), `view` (what is to be seen), `log` (what is left in the map).
"""
