"""Light: levels and colours, positions, evenness of general illumination. Pure: no file but its own tables, no clock.

| file | what |
|---|---|
| `lengths` | tape measure and grid: what a person types, as mm |
| `levels` | level and colour of places and groups; what a chain shows within its ceiling |
| `advice` | warm or cool, by insert colour and kind: common practice, from `data/advice.csv` |
| `picture_keys`, `picture_state`, `picture_light`, `picture_view`, `picture` | the task of the picture; the first holds its commands |
| `plastics` | colours as seen, bare and behind an insert's plastic; which words for colours survive there |
| `optics` | illuminance from a pixel: beam, depth, distance, diffuser |
| `evenness` | uniformity of readings and ratings, and which places are neighbours; fit of the light model to them |
| `suggest` | trims and changes of seating that make it even, and how sure that is |
| `even_keys`, `even_walk` | the task of the guided walk for evenness; the first holds its commands and loads no numpy |

Gamma is not here: `device_protocol.lightness` is its one place.
"""
