"""What a device's page answers in sentences: who charges it at full speed, and the smallest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from catalog.models import Adapter, Device
from comparisons.facts.paired import FULL_SPEED_PERCENT
from comparisons.facts.words import NBSP, capitalised, counted, quantity
from comparisons.queries.device_answers import Answers, Sized
from measurements.kinds.instruments import listed

_POWER_DECIMALS, _VOLUME_DECIMALS, _MASS_DECIMALS = 1, 1, 0
_BOUND = f"{FULL_SPEED_PERCENT}{NBSP}%"


def full_speed_sentences(answers: Answers, device: Device, *, among: str = "") -> Iterator[str]:
    """Which of these charge it at full speed. `among` says who was filtered, behind “adapters”."""
    if not answers.measured:
        yield (
            f"How much the {device} draws was not measured on any adapter, so that there is no "
            "full speed to compare with."
        )
        return
    if answers.best is None:
        yield (
            f"No adapter gave the {device} enough to charge it, so that there is no full speed to "
            "compare with."
        )
        return
    most = quantity(answers.best_w, answers.best_expanded, unit="W", decimals=_POWER_DECIMALS)
    yield f"The most that any adapter here gave the {device} is {most}, by {answers.best}."
    tried = f"Of {counted(answers.tried, 'adapter')}{among} whose power with it was measured"
    if not answers.full_count:
        yield f"{tried}, none gives it at least {_BOUND} of that."
    else:
        verb = "gives" if answers.full_count == 1 else "give"
        yield (
            f"{tried}, {answers.full_count} {verb} it at least {_BOUND} of that: "
            f"{_named(answers.full, answers.full_count)}."
        )
    if answers.measured == 1:
        yield "No other adapter was tried with it, so that it is compared with itself only."
    if answers.near_count:
        verb = "lies" if answers.near_count == 1 else "lie"
        yield (
            f"{capitalised(_named(answers.near, answers.near_count))} {verb} so near that bound "
            "that the uncertainty leaves it open."
        )
    if answers.unstated:
        yield (
            f"Of {counted(answers.unstated, 'adapter')} nobody can say how sure that is, because "
            "an uncertainty is not stated."
        )


def smallest_sentences(answers: Answers) -> Iterator[str]:
    """Which is the smallest that does: by volume, and by mass beside it."""
    if not answers.full_count:
        return
    if not answers.smallest:
        yield "The catalogue holds the size of none of them, so that the smallest is not known."
    else:
        smallest = answers.smallest[0]
        yield (
            f"By volume the smallest of them is {smallest.adapter}, {_volume(smallest)}, which "
            f"gives it {100 * smallest.share:.0f}{NBSP}% of the most"
            f"{_by_mass_too(answers, smallest)}."
        )
        if answers.alike:
            yield (
                "Its volume cannot be told from that of "
                f"{listed(str(item.adapter) for item in answers.alike)}."
            )
        yield from _doubt(smallest, answers.smallest_sure)
    yield from _lightest(answers)
    yield from _unknown(answers)


def _by_mass_too(answers: Answers, smallest: Sized) -> str:
    lightest = answers.lightest
    if lightest is None or lightest.adapter != smallest.adapter:
        return ""
    return f"; it is the lightest too, {_mass(lightest)}"


def _doubt(smallest: Sized, sure: Sized | None) -> Iterator[str]:
    """What the uncertainty of the bound leaves of the answer."""
    if smallest.sure:
        return
    yield f"Whether it reaches {_BOUND} is open."
    if sure is not None:
        yield f"The smallest that does beyond doubt is {sure.adapter}, {_volume(sure)}."


def _lightest(answers: Answers) -> Iterator[str]:
    lightest = answers.lightest
    if lightest is None:
        return
    if not answers.smallest or lightest.adapter != answers.smallest[0].adapter:
        doubt = "" if lightest.sure else f" (whether it reaches {_BOUND} is open)"
        yield f"The lightest is {lightest.adapter}, {_mass(lightest)}{doubt}."
    if answers.lightest_alike:
        yield (
            "Its mass cannot be told from that of "
            f"{listed(str(item.adapter) for item in answers.lightest_alike)}."
        )


def _unknown(answers: Answers) -> Iterator[str]:
    for count, what in ((answers.unsized, "size"), (answers.unweighed, "mass")):
        if count and count < answers.full_count:
            yield f"The {what} of {count} of them is not in the catalogue."


def _volume(item: Sized) -> str:
    return quantity(
        item.volume_cm3 or 0.0, item.volume_expanded, unit="cm³", decimals=_VOLUME_DECIMALS
    )


def _mass(item: Sized) -> str:
    return quantity(item.mass_g or 0.0, item.mass_expanded, unit="g", decimals=_MASS_DECIMALS)


def _named(adapters: Sequence[Adapter], count: int) -> str:
    """The adapters by name, and how many more there are."""
    more = count - len(adapters)
    return listed([*map(str, adapters), *([f"{more} more"] if more else [])])
