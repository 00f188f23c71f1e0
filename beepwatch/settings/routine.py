"""The part of the settings that says what a family's own routines are: `[[routine]]`. Pure.

```toml
[[routine]]
name = "wash-cables"
title = "Washing the cables"
days = 14
clinic = "yes"        # the family's own clinic says this
[[routine]]           # a supply: it lasts 90 days and is ordered 14 days before
name = "dressings"
days = 90
lead = 14
clinic = "yes"
```
"""

from collections.abc import Sequence
from typing import Annotated, Literal, TypeAlias

import msgspec

from beepwatch.errors import InputError

Answer: TypeAlias = Literal["yes", "no", "unasked"]
RESERVED = ("battery", "exit-site")
"""Routines that the table `[care]` has."""
MOST = 20
"""Routines of a family's own (judgement: they are lines on a screen and on paper)."""


class OwnRoutine(msgspec.Struct, frozen=True, forbid_unknown_fields=True, rename="kebab"):
    """`[[routine]]`: something that is done again and again."""

    name: Annotated[str, msgspec.Meta(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$")]
    days: Annotated[int, msgspec.Meta(ge=1, le=3650)]
    """From one time to the next; of a supply: how long it lasts."""
    title: Annotated[str, msgspec.Meta(max_length=60, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")] = ""
    lead: Annotated[int, msgspec.Meta(ge=0, le=365)] = 0
    """Days before it is used up by which it is to be ordered; 0: it is no supply."""
    clinic: Answer = "unasked"
    """Does the family's own clinic say this? It is reminded of only after a yes."""


def check_routines(routines: Sequence[OwnRoutine], origin: str) -> None:
    """Raise InputError, one line, for routines that cannot stand beside each other."""
    names = [one.name for one in routines]
    for one in routines:
        if one.name in RESERVED or names.count(one.name) > 1:
            raise InputError(f"{origin}: [[routine]] {one.name}: there is one of that name already; give it another")
        if one.lead >= one.days:
            raise InputError(f"{origin}: [[routine]] {one.name}: lead = {one.lead} must be under days = {one.days}")
    if len(names) > MOST:
        raise InputError(f"{origin}: {len(names)} [[routine]] are too many: at most {MOST}")
