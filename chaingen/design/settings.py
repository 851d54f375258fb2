"""The bench that a design and a settings file say together, and what is wrong between them."""

import os
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Any, TypeVar

from pydantic import ValidationError

from chaingen.design.bench import (
    Bench,
    Classroom,
    CutWay,
    OwnedRings,
    Paper,
    Price,
    PriceList,
    Prices,
    Trial,
    Units,
    WireData,
)
from chaingen.design.bench_schema import (
    SETTINGS,
    BenchTable,
    ClassroomTable,
    OwnedTable,
    PricesTable,
    SettingsTable,
    SheetTable,
    WireTable,
)
from chaingen.design.beside import text_beside
from chaingen.design.weaves import in_file
from chaingen.errors import BadInput, Problem
from chaingen.stock.tempers import temper_names
from chaingen.tables import (
    Table,
    json_schema_of,
    key,
    limited,
    meant,
    parse_toml,
    read_text,
    shown,
    value_problems,
)
from chaingen.weave.groups import RingSize

_BY_SIZE = ("per_metre", "per_ring", "per_bag")
"""Prices by the name of a ring size."""

_BY_FINDING = ("each", "bead")
"""Prices by the name of a finding."""

AnyTable = TypeVar("AnyTable", bound=Table)


def load_settings(path: str | os.PathLike[str], *, where: str = "settings") -> SettingsTable:
    """Read a settings file.

    Args:
        path: A TOML file.
        where: The place in the user's own terms that names it.

    Raises:
        BadInput: With every problem found, each naming the file.
    """
    try:
        return _settings_of(read_text(path, SETTINGS), str(path))
    except BadInput as error:
        raise BadInput(in_file(problem, str(path), where) for problem in error.problems) from None


def sealed_settings(name: str, folder: str | os.PathLike[str], *, where: str = "settings") -> SettingsTable:
    """Read a settings file that lies beside a design, by the last part of its path alone.

    Args:
        name: What the design calls it.
        folder: The one folder that is looked in.
        where: The place in the user's own terms that names it.

    Raises:
        BadInput: With every problem found, each naming the file.
    """
    base, text = text_beside(name, folder, where=where, what=SETTINGS.file)
    try:
        return _settings_of(text, base)
    except BadInput as error:
        raise BadInput(in_file(problem, base, where) for problem in error.problems) from None


def _settings_of(text: str, source: str) -> SettingsTable:
    data = parse_toml(text, source, SETTINGS)
    try:
        table = SettingsTable.model_validate(data)
    except ValidationError as error:
        raise BadInput(limited(value_problems(error, SETTINGS), SETTINGS)) from None
    _refuse_bare_trials(table.bench)
    return table


def _refuse_bare_trials(bench: BenchTable | None) -> None:
    """Raise `BadInput` where a trial coil of a settings file does not say its metal."""
    trials = () if bench is None else bench.trials
    bare = [number for number, trial in enumerate(trials, start=1) if trial.metal is None]
    if bare:
        expected = "its metal: a settings file serves designs in every metal"
        raise BadInput(Problem(f"bench.trials[{number}].metal", "", expected) for number in bare)


def settings_json_schema() -> dict[str, Any]:
    """The JSON Schema of a settings file, as editors use it."""
    return json_schema_of(SettingsTable)


def bench_of(own: SettingsTable, settings: SettingsTable | None = None) -> Bench:
    """The bench that tables say.

    Args:
        own: What the design says; it goes first.
        settings: What a settings file says.
    """
    base = settings if settings is not None else SettingsTable()
    bench = _joined_benches(base.bench, own.bench) or BenchTable.model_validate({})
    prices = _joined(base.prices, own.prices) or PricesTable.model_validate({})
    sheet = _joined(base.sheet, own.sheet) or SheetTable.model_validate({})
    classroom = _joined(base.classroom, own.classroom)
    owned = own.owned if own.owned is not None else base.owned or []
    usual = Bench()

    def or_usual(value: float | None, default: float) -> float:
        return default if value is None else value

    return Bench(
        temper=bench.temper,
        wires=tuple(
            (name, WireData(wire.temper, wire.youngs_modulus, wire.yield_strength))
            for name, wire in bench.metals.items()
        ),
        mandrels=tuple(bench.mandrels or ()),
        trials=tuple(Trial(t.metal, t.temper, t.wire, t.mandrel, t.inside) for t in bench.trials),
        cut=CutWay(bench.cut) if bench.cut else usual.cut,
        kerf=bench.kerf,
        mandrel_length=or_usual(bench.mandrel_length, usual.mandrel_length),
        tail=or_usual(bench.tail, usual.tail),
        sold_in=bench.sold_in,
        bag=bench.bag,
        spare=usual.spare if bench.spare is None else _part(bench.spare),
        open_seconds=bench.open_seconds,
        close_seconds=bench.close_seconds,
        finding_seconds=tuple(bench.finding_seconds.items()),
        tug=or_usual(bench.tug, usual.tug),
        prices=_prices(prices),
        owned=tuple(_owned(entry, number) for number, entry in enumerate(owned, start=1)),
        classroom=None if classroom is None else _classroom(classroom),
        units=Units(sheet.units) if sheet.units else usual.units,
        paper=Paper(sheet.paper) if sheet.paper else usual.paper,
        hand_out=bool(sheet.hand_out),
    )


def bench_problems(
    own: SettingsTable, settings: SettingsTable | None, sizes: Sequence[str], findings: Sequence[str]
) -> list[Problem]:
    """What is wrong between the keys of a bench: names that are none, currencies that are mixed.

    Args:
        own: What the design says.
        settings: What a settings file says; it may name sizes and findings of other designs.
        sizes: Names of the design's ring sizes.
        findings: Names of its findings.
    """
    problems = []
    for where, names, known, what in _names(own, sizes, findings):
        for name in names:
            if name not in known:
                choice = f"one of the {what} {', '.join(known[:20])}" if known else f"no name: no {what} here"
                problems.append(Problem(f"{where}.{key(name)}", shown(name), choice, meant(name, known)))
    problems += _temper_problems(own, settings)
    told = list(_told_prices(own, "")) + list(_told_prices(_left_of(settings, own), "the settings: "))
    if told:
        first, price = told[0]
        odd = next(((where, one) for where, one in told if one.currency != price.currency), None)
        if odd is not None:
            expected = f"{price.currency}, the currency of {first}: prices of one currency"
            problems.append(Problem(odd[0], f"a price in {odd[1].currency}", expected))
    bags = {**(settings.prices.per_bag if settings and settings.prices else {})}
    bags |= own.prices.per_bag if own.prices else {}
    if any(name in sizes for name in bags) and bench_of(own, settings).bag is None:
        expected = "bench.bag, how many rings are in a bag"
        problems.append(Problem("prices.per_bag", "the price of a bag", expected))
    return problems


def _names(
    own: SettingsTable, sizes: Sequence[str], findings: Sequence[str]
) -> Iterator[tuple[str, Iterable[str], Sequence[str], str]]:
    if own.prices is not None:
        for name in _BY_SIZE:
            yield f"prices.{name}", getattr(own.prices, name), sizes, "ring sizes"
        for name in _BY_FINDING:
            yield f"prices.{name}", getattr(own.prices, name), findings, "findings"
    if own.bench is not None:
        yield "bench.finding_seconds", own.bench.finding_seconds, findings, "findings"


def _temper_problems(own: SettingsTable, settings: SettingsTable | None) -> list[Problem]:
    """Tempers of all wire, and of trial coils, that no metal is known to have: they are misspelt."""
    tables = [(own.bench, "")]
    if settings is not None:
        tables.append((settings.bench, "the settings: "))
    wires = [wire for bench, _ in tables if bench is not None for wire in bench.metals.values()]
    # A temper of the maker's own has figures of its own.
    known = set(temper_names()) | {
        wire.temper
        for wire in wires
        if wire.temper is not None and wire.youngs_modulus is not None and wire.yield_strength is not None
    }
    problems = []
    for bench, whose in tables:
        if bench is None:
            continue
        said = [(f"{whose}bench.temper", bench.temper)]
        said += [
            (f"{whose}bench.trials[{number}].temper", trial.temper)
            for number, trial in enumerate(bench.trials, start=1)
        ]
        for where, temper in said:
            if temper is not None and temper not in known:
                expected = (
                    f"one of {', '.join(temper_names())}, or one that bench.metals gives with youngs_modulus "
                    "and yield_strength"
                )
                problems.append(Problem(where, shown(temper), expected, meant(temper, known)))
    return problems


def _left_of(settings: SettingsTable | None, own: SettingsTable) -> SettingsTable | None:
    """The settings without the prices that a design says itself."""
    if settings is None or settings.prices is None or own.prices is None:
        return settings
    left: dict[str, Any] = {}
    for name in ("per_gram", *_BY_SIZE, *_BY_FINDING):
        here = getattr(own.prices, name)
        left[name] = {k: price for k, price in getattr(settings.prices, name).items() if k not in here}
    if own.prices.per_hour is not None:
        left["per_hour"] = None
    return SettingsTable(prices=settings.prices.model_copy(update=left))


def _told_prices(tables: SettingsTable | None, whose: str) -> Iterator[tuple[str, Price]]:
    """Every price of some tables with its place."""
    if tables is None or tables.prices is None:
        return
    for name in ("per_gram", *_BY_SIZE, *_BY_FINDING):
        for what, price in getattr(tables.prices, name).items():
            yield f"{whose}prices.{name}.{key(what)}", price
    if tables.prices.per_hour is not None:
        yield f"{whose}prices.per_hour", tables.prices.per_hour


def _joined(base: AnyTable | None, own: AnyTable | None) -> AnyTable | None:
    """Two tables as one: what the second says goes first, and tables of names in them are joined."""
    if base is None or own is None:
        return own if base is None else base
    said = {}
    for name in own.model_fields_set:
        here, there = getattr(own, name), getattr(base, name)
        said[name] = {**there, **here} if isinstance(here, dict) else here
    return base.model_copy(update=said)


def _joined_benches(base: BenchTable | None, own: BenchTable | None) -> BenchTable | None:
    """Two benches as one: what goes with what the second says otherwise is not taken over from the first."""
    joined = _joined(base, own)
    if base is None or own is None or joined is None:
        return joined
    metals = {
        name: _joined_wires(base.metals[name], wire) if name in base.metals else wire
        for name, wire in own.metals.items()
    }
    said: dict[str, Any] = {"metals": {**base.metals, **metals}}
    usual = Bench().cut.value
    if own.kerf is None and own.cut is not None and own.cut != (base.cut or usual):
        # A saw's kerf is not that of flush cutters.
        said["kerf"] = None
    return joined.model_copy(update=said)


def _joined_wires(base: WireTable, own: WireTable) -> WireTable:
    """Wire of one metal as two tables say it: yield strength goes with the temper that it was said with."""
    joined = _joined(base, own)
    assert joined is not None
    if own.temper is not None and own.temper != base.temper and own.yield_strength is None:
        return joined.model_copy(update={"yield_strength": None})
    return joined


def _part(percent: float) -> float:
    """A percentage as a part: 1.1 % as 0.011, where a division of floats comes out a little higher."""
    return float(Decimal(repr(percent)) / 100)


def _prices(table: PricesTable) -> PriceList:
    def by_name(prices: dict[str, Price]) -> Prices:
        return tuple(prices.items())

    told = [price for _, price in _told_prices(SettingsTable(prices=table), "")]
    return PriceList(
        currency=told[0].currency if told else None,
        per_gram=by_name(table.per_gram),
        per_metre=by_name(table.per_metre),
        per_ring=by_name(table.per_ring),
        per_bag=by_name(table.per_bag),
        each=by_name(table.each),
        bead=by_name(table.bead),
        per_hour=table.per_hour,
        overhead=None if table.overhead is None else _part(table.overhead),
        markup=table.markup,
    )


def _owned(table: OwnedTable, number: int) -> OwnedRings:
    return OwnedRings(RingSize(f"at hand {number}", table.inside, table.wire), table.count, table.metal)


def _classroom(table: ClassroomTable) -> Classroom:
    usual = Classroom(table.students)
    return Classroom(
        table.students,
        usual.shared_spare if table.spare is None else _part(table.spare),
        usual.for_teacher if table.for_teacher is None else table.for_teacher,
    )
