"""The order of work in words: what to open and close beforehand, and each line of the instructions."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from itertools import groupby
from typing import TypeVar

from chaingen.design.bench import Units
from chaingen.findings.finding import Finding
from chaingen.geometry.shapes import Closure, Eye
from chaingen.make.metals import RingMetals
from chaingen.make.order.steps import Instruction, Order, Step
from chaingen.show.phrases import counted
from chaingen.show.sheet.measures import Measures, inches
from chaingen.units import format_mm
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import RingSize

Kind = TypeVar("Kind")

Named = tuple[str, str]
"""What a body is to a maker: its size or kind, and its metal."""


class StepWords:
    """Words for the steps of a piece.

    Args:
        graph: The links of the piece.
        metals: The metals of its bodies.
        order: Its order of work.
        units: Units of lengths in it.
    """

    def __init__(self, graph: LinkGraph, metals: RingMetals, order: Order, units: Units) -> None:
        self._graph, self._metals, self._order = graph, metals, order
        self._measures = Measures(units)
        # A metal is told where there is more than one of what is otherwise alike.
        kinds = {(member.size, int(k)) for member, k in zip(graph.members, metals.of_ring, strict=True)}
        self._metals_of = Counter(size for size, _ in kinds)
        sizes = {member.size for member in graph.members if isinstance(member.size, RingSize)}
        self._several_sizes = len(sizes) > 1
        findings = {member.size for member in graph.members if isinstance(member.size, Finding)}
        self._kinds_of = Counter(finding.kind for finding in findings)

    def lines(self) -> tuple[str, ...]:
        """Each instruction in words, in order."""
        lines = self._order.instructions
        return tuple(
            self._step(self._order.steps[line.step]) if line.step is not None else self._again(line, begin)
            for line, begin in zip(lines, _begins(lines), strict=True)
        )

    def _again(self, line: Instruction, begin: int) -> str:
        """Lines made again; `begin` is the place of the step with which they begin the first further time."""
        steps, lines = self._order.steps, self._order.instructions
        one = _length(lines, line.first, line.last)
        last = steps[begin + one * line.times - 1]
        first = steps[begin - one]
        following = steps[begin : begin + line.times]
        if one == 1 and all(step.through == first.through and not step.added for step in following):
            # Others beside it through the same: "the next ones along" would lead away from there.
            rings = self._listed(last, [step.body for step in following])
            turns = ", one after the other" if line.times > 1 else ""
            return f"Do the same as in step {line.first} with {rings}{turns}."
        return repeat_words(line, lines, f"{self._noun(last.body)} {self._graph.names[last.body]}")

    def _step(self, step: Step) -> str:
        begin = ""
        if step.begins_anew:
            begin = "Begin a part that hangs on nothing made so far. "
        if step.joins_ends:
            begin = "See that nothing is twisted, and bring the two ends of the piece together. "
        return begin + self._made(step)

    def _made(self, step: Step) -> str:
        size = self._graph.members[step.body].size
        if isinstance(size, RingSize):
            return self._ring_step(step)
        closure = size.shape.eyes[step.eye].closure
        words = {
            Closure.HOOK: self._hook_step,
            Closure.GATE: self._gate_step,
            Closure.BAR: self._bar_step,
        }.get(closure, self._eye_step)
        return words(step, size)

    def _ring_step(self, step: Step) -> str:
        ring = f"ring {self._called(step.body)}"
        if not (step.through or step.added or step.laid):
            return f"Close {ring}: the work begins with it."
        what = []
        # A bar is solid: a ring goes round it.
        bars = self._met_at_bar(step)
        through = [body for body in step.through if body not in bars]
        round_it = [body for body in step.through if body in bars]
        if through:
            what.append(f"put it through {self._listed(step, through)}")
        if round_it:
            what.append(f"put it round {self._listed(step, round_it)}")
        if step.added:
            what.append(f"take up {self._closed(step, step.added)}")
        return f"Take opened {ring}. {_sentence(', '.join([*what, *self._laid(step), 'close it']))}."

    def _laid(self, step: Step) -> list[str]:
        """What is linked with nothing and has to be in its place before it is shut in."""
        told = []
        beside = tuple(body for body in step.laid if body not in step.round_it)
        if step.round_it:
            between = " between them" if len(step.through) + len(step.added) > 1 else ""
            told.append(f"slip {self._closed(step, step.round_it)} over it{between}, linked with nothing")
        if beside:
            told.append(f"lay {self._closed(step, beside)} in place, linked with nothing")
        return told

    def _met_at_bar(self, step: Step) -> set[int]:
        """The findings of a step that are met at their bar."""
        return {body for body, eye in self._met(step) if eye.closure is Closure.BAR}

    def _eye_step(self, step: Step, finding: Finding) -> str:
        """An eye that is opened with pliers."""
        eye = self._eye(finding, step.eye)
        named = f"{_noun(finding)} {self._called(step.body)}"
        opened = (
            f"Take {named}. Open {f'its {eye}' if eye else 'it'}"
            if step.new
            else (f"Open the {eye} of {named}" if eye else f"Open {named}")
        )
        what = [opened, f"hang in {self._hung(step)}", *self._laid(step), "close it"]
        return f"{', '.join(what)}."

    def _hook_step(self, step: Step, finding: Finding) -> str:
        named = f"{_noun(finding)} {self._called(step.body)}"
        if not step.new:
            return f"Hang {self._hung(step)} in {named}."
        return f"Take {named} and hang {self._hung(step)} in it."

    def _gate_step(self, step: Step, finding: Finding) -> str:
        named = f"{_noun(finding)} {self._called(step.body)}"
        begin = f"Take {named}. Open its gate" if step.new else f"Open the gate of {named}"
        return f"{begin}, hang in {self._hung(step)}, let it shut."

    def _bar_step(self, step: Step, finding: Finding) -> str:
        named = f"{_noun(finding)} {self._called(step.body)}"
        if step.new:
            return f"Take {named}. Put it end first through {self._hung(step)} and let it lie across."
        beside = "with what hangs in its eye beside it"
        return f"Put {named} end first through {self._hung(step)}, {beside}, and let it lie across."

    def _hung(self, step: Step) -> str:
        """What hangs in an eye: what is there, and what is taken up new."""
        parts = []
        if step.through:
            parts.append(self._listed(step, step.through))
        if step.added:
            parts.append(self._closed(step, step.added))
        return " and ".join(parts)

    def _closed(self, step: Step, new: tuple[int, ...]) -> str:
        """What comes new at a step: ``2 closed rings, 3a and 3b (petal, 4 mm inside)``."""
        parts = []
        for (_, kind, metal), bodies in _grouped(new, lambda body: (self._noun(body), *self._kind(body))):
            names = _joined([self._graph.names[body] for body in bodies])
            size = self._graph.members[bodies[0]].size
            if isinstance(size, RingSize):
                amount = "closed ring" if len(bodies) == 1 else f"{len(bodies)} closed rings,"
                parts.append(f"{amount} {names}{_bracketed(kind, metal)}")
            else:
                eyes = self._eyes_met(step, bodies)
                several = "s" if len(bodies) > 1 else ""
                parts.append(f"{eyes}{_noun(size)}{several} {names}{_bracketed(kind, metal)}")
        return _joined(parts)

    def _listed(self, step: Step, bodies: Iterable[int]) -> str:
        """Bodies that are there, by name: ``rings 1a and 1b``, ``the eye of lobster clasp 9a``."""
        parts = []
        for kind, own in _grouped(tuple(bodies), self._noun):
            names = _joined([self._graph.names[body] for body in own])
            several = "s" if len(own) > 1 else ""
            parts.append(f"{self._eyes_met(step, own)}{kind}{several} {names}")
        return _joined(parts)

    def _eyes_met(self, step: Step, bodies: Iterable[int]) -> str:
        """Which eye of findings a step goes through, where they have several: ``the eye of ``."""
        found = []
        for body, eye in self._met(step):
            size = self._graph.members[body].size
            assert isinstance(size, Finding)
            if body in bodies and len(size.shape.eyes) > 1:
                found.append(_eye_name(size, eye))
        found = list(dict.fromkeys(found))
        return f"the {_joined(found)} of " if found else ""

    def _met(self, step: Step) -> list[tuple[int, Eye]]:
        """The findings that a step goes through, each with the eye."""
        graph = self._graph
        met = []
        for place in step.links:
            (a, b), (eye_a, eye_b) = graph.links[place].tolist(), graph.link_eyes[place].tolist()
            other, eye = (b, eye_b) if a == step.body else (a, eye_a)
            size = graph.members[other].size
            if isinstance(size, Finding):
                met.append((other, size.shape.eyes[eye]))
        return met

    def _eye(self, finding: Finding, eye: int) -> str:
        """Name of an eye; empty where the finding is all eye."""
        return (
            ""
            if finding.kind in ("oval link", "closed ring")
            else _eye_name(finding, finding.shape.eyes[eye])
        )

    def _noun(self, body: int) -> str:
        size = self._graph.members[body].size
        return "ring" if isinstance(size, RingSize) else _noun(size)

    def _called(self, body: int) -> str:
        """A body's name with its size: ``3b (petal, 4 mm inside, copper)``."""
        return f"{self._graph.names[body]}{_bracketed(*self._kind(body))}"

    def _kind(self, body: int) -> Named:
        size = self._graph.members[body].size
        metal = self._metal(body) if self._metals_of[size] > 1 else ""
        if not isinstance(size, RingSize):
            return size.name if self._kinds_of[size.kind] > 1 else "", metal
        if not self._several_sizes:
            return "", metal
        return f"{size.name}, {self._inside(size)} inside", metal

    def _metal(self, body: int) -> str:
        return self._metals.metals[int(self._metals.of_ring[body])].name

    def _inside(self, size: RingSize) -> str:
        """One unit is enough to tell rings apart by; tables have all of it."""
        in_inches = self._measures.units is Units.INCH
        return inches(size.inside_diameter) if in_inches else format_mm(size.inside_diameter, 2)

    def _wire(self, size: RingSize) -> str:
        return self._measures.wire(size.wire_diameter, said=True)

    def preparation(self) -> tuple[str, ...]:
        """What to open, close and have ready before the first step, for one piece."""
        opened, graph = self._order.opened, self._graph
        is_ring = [isinstance(member.size, RingSize) for member in graph.members]
        lines = []
        for verb, bodies, then in (
            ("Open", opened.opened, ""),
            ("Close", opened.closed, " Rings that are bought closed serve as they come."),
        ):
            rings = [body for body in bodies if is_ring[body]]
            if rings:
                kinds = self._by_kind(rings)
                lines.append(f"{verb} {counted(len(rings), 'ring')}: {kinds}.{then}")
        findings = Counter((self._noun(k), self._kind(k)[0]) for k, ring in enumerate(is_ring) if not ring)
        if findings:
            ready = _joined(
                [
                    f"{counted(count, noun, f'{noun}s')}{_bracketed(name)}"
                    for (noun, name), count in findings.items()
                ]
            )
            lines.append(f"Have ready: {ready}.")
        if opened.eyes:
            eyes = counted(len(opened.eyes), "eye")
            lines.append(f"Of findings {eyes} will be opened with pliers, at the step that says so.")
        laid = {body for step in self._order.steps for body in step.laid}
        loose = [graph.names[body] for body in self._order.loose if body not in laid]
        if loose and self._order.steps:
            hangs = "hangs" if len(loose) == 1 else "hang"
            lines.append(f"Without a step, for {_joined(loose)} {hangs} on nothing.")
        if len(self._order.steps) > 1:
            lines.append(
                "The steps say what each ring goes through; how rings lie in one another, which way they "
                "lean and what is folded back, the pictures show. The same links laid otherwise make another "
                "chain."
            )
        return tuple(lines)

    def least_words(self) -> str:
        """Whether fewer rings could be opened; empty where none is."""
        opened = self._order.opened
        if not opened.count:
            return ""
        what = "rings" if not opened.eyes else "rings and eyes"
        least = "1 ring has" if opened.at_least == 1 else f"{opened.at_least:,} {what} have"
        if opened.proven:
            return (
                f"No fewer will do: with fewer than {opened.count:,} {what} opened, some link would have no "
                "opened end to be made by."
            )
        return (
            f"At least {least} to be opened. Whether fewer than {opened.count:,} "
            "would do was not found out in the time there was."
        )

    def _by_kind(self, rings: Iterable[int]) -> str:
        def kind(body: int) -> Named:
            size = self._graph.members[body].size
            assert isinstance(size, RingSize)
            return f"{size.name}, {self._inside(size)} inside in {self._wire(size)} wire", self._metal(body)

        kinds = Counter(kind(body) for body in rings)
        return "; ".join(f"{count:,} {size}, {metal}" for (size, metal), count in kinds.items())


def repeat_words(line: Instruction, lines: Iterable[Instruction], last: str) -> str:
    """A line that has others made again.

    Args:
        line: The line.
        lines: All lines.
        last: What is closed last by it: ``ring 7b``.
    """
    between = "and" if line.last == line.first + 1 else "to"
    one = line.first == line.last
    again = f"step {line.first}" if one else f"steps {line.first} {between} {line.last}"
    often = {1: "once", 2: "twice"}.get(line.times, f"{line.times:,} times")
    nested = [other for other in lines if other.step is None and line.first <= other.number <= line.last]
    held = ", with the repeats in them" if nested else ""
    in_all = f" ({line.times + 1:,} in all)" if line.times > 1 else ""
    return f"Make {again} again, {often}{in_all}{held}. {_sentence(last)} is the last."


def _begins(lines: Sequence[Instruction]) -> list[int]:
    """The place of the step with which each line begins when it is first done."""
    begins, place = [], 0
    for line in lines:
        begins.append(place)
        place += 1 if line.step is not None else line.times * _length(lines, line.first, line.last)
    return begins


def _length(lines: Sequence[Instruction], first: int, last: int) -> int:
    """How many steps lines stand for, with what is made again in them."""
    return sum(
        1 if line.step is not None else line.times * _length(lines, line.first, line.last)
        for line in lines[first - 1 : last]
    )


def _grouped(bodies: Iterable[int], kind: Callable[[int], Kind]) -> list[tuple[Kind, list[int]]]:
    """Bodies that follow one another and are of a kind, together."""
    return [(one, list(own)) for one, own in groupby(bodies, key=kind)]


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]


def _bracketed(*parts: str) -> str:
    inner = ", ".join(part for part in parts if part)
    return f" ({inner})" if inner else ""


def _joined(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _noun(finding: Finding) -> str:
    """What a finding is called at the bench: a ring soldered shut is told from one that is closed by hand."""
    return "soldered ring" if finding.kind == "closed ring" else finding.kind


def _eye_name(finding: Finding, eye: Eye) -> str:
    """What an eye is called at the bench."""
    if eye.name == finding.kind:
        return "bend"
    return f"eye for {eye.name}" if finding.kind == "end bar" and eye.name.startswith("strand") else eye.name
