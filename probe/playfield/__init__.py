"""The drawn playfield: standard shapes as strokes, where a new place may be, and which cells show what.

`strokes_of` and `shapes_of` are shared by screen and paper, so that both draw the same lines. `lay_out` fits the field and
the backbox's panel to a pane in true proportions; `still_cells` draws what does not change from light to light, and
`ring_cells` what a lit place lays over it. `guess_position` gives every newly named place a spot at once. All pure: mm in,
strokes or cells out.
"""

from probe.playfield.field import neutral_field, shapes_of
from probe.playfield.guess import guess_position
from probe.playfield.strokes import Stroke, strokes_of

__all__ = ["Stroke", "guess_position", "neutral_field", "shapes_of", "strokes_of"]
