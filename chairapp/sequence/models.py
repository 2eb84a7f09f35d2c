"""What a sequence document holds. The judge and the tablet read it as plain JSON of this shape."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Rim = Literal["upper", "lower"]
Surface = Literal["height", "labial", "base"]
Band = Annotated[list[float | None], Field(min_length=2, max_length=2)]
"""[lowest, highest] that still fits, limits inside; null leaves a side open."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Item(_Part):
    """One thing asked for. `kind` says how answers are entered and which of the other fields apply.

    choice    one of `choices`; those in `fits` fit, those in `unsure` are unsure, the rest are off
    reading   several numbers, averaged; `pad` is the step of the number pad, `needed` how many are wanted
    number    one number, the latest counts
    stations  {station: number}, or {station: true} when `unit` is null; `all_stations` when all seven are wanted
    text      free text
    list      a list drawn from `choices`
    """

    id: str
    kind: Literal["choice", "reading", "number", "stations", "text", "list"]
    required: bool = False
    guidance: bool = False
    unit: Literal["mm", "deg", "min"] | None = None
    pad: float | None = None
    possible: Band | None = None
    """Outside this a value is refused by name: it cannot be a reading of a person."""
    band: Band | None = None
    tolerated: Band | None = None
    """Outside `band` but inside this is unsure; outside both is off."""
    start: float | None = None
    needed: int = 1
    spread: float | None = None
    """Greatest max - min of the latest three readings before they disagree."""
    choices: list[str] = []
    fits: list[str] = []
    unsure: list[str] = []
    all_stations: bool = False
    photo: Literal["line", "profile"] | None = None
    by_eye: bool = False
    """The text answer "looks_parallel" is allowed under this item."""
    prompt: str | None = None
    """KEY of the text `prompt.KEY`: words to read aloud."""
    cautions: list[str] = []
    """KEYs of the texts `caution.KEY`."""
    unless: dict[str, list[str]] = {}
    """{item: values}: not asked while that item has one of those values."""
    required_from: dict[str, float] = {}
    """{item: number}: required once that item's number is at least this."""
    at: list[str] = []
    """Stations of the rim where the item stands, for a disturbance that counts only where it was touched."""


class Step(_Part):
    """A step of the walk. `first` names items of later steps that are asked here before the step's own."""

    id: str
    items: list[Item]
    first: list[str] = []
    cautions: list[str] = []


class Disturbance(_Part):
    """What an adjustment of this rim and surface disturbs; a null rim or surface stands for any.

    stale         steps and items made stale
    at_stations   steps and items made stale only if a touched station is one of theirs: the item's `at`, or for the
                  step `marks` the stations that carry a mark
    voids         what does not hold any longer: "record", "signature"
    """

    rim: Rim | None = None
    surface: Surface | None = None
    added_only: bool = False
    stale: list[str] = []
    at_stations: list[str] = []
    voids: list[Literal["record", "signature"]] = []


class NewRound(_Part):
    """A changed answer of `item` starts a new round of these steps and items."""

    item: str
    starts: list[str]


class Cap(_Part):
    """While `item` has one of `values`, a step that would fit is unsure."""

    item: str
    values: list[str]
    steps: list[str]


class Sequence(_Part):
    """A whole sequence; immutable, addressed by the SHA-256 of its RFC 8785 bytes."""

    id: str
    version: int
    steps: list[Step]
    disturbs: list[Disturbance]
    rounds: list[NewRound]
    caps: list[Cap]
    bands: dict[str, Band]
    """Bands of derived values, by their name: `interocclusal_distance`."""
    settings: dict[str, float]
    """Numbers that belong to no single item, by dotted name: `hinge.skin_to_rim.tip_and_chin`, `plan.display`."""
    texts: dict[str, dict[str, str]]
    """{language: {key: text}}; keys are listed in sequence/texts."""
