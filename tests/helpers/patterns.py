"""Whether a regular expression can take more than linear time, read off its parse tree, and texts that make it.

Python's matcher tries one path after another through the pattern, and forgets which it has tried. Its time is the
number of those paths. A pattern becomes an automaton whose states are the places in it that take a character; the
number of paths along a text grows faster than the text exactly when

* two different ways lead from a state that repeats back to itself over the same characters, or
* a text leads from a state that repeats to itself, from it to another state that repeats, and from that to itself
  (A. Weber, H. Seidl, On the degree of ambiguity of finite automata, 1991, criterion IDA).

States from which the pattern has matched already, whatever follows, do not count: the matcher stops there. A search is
a repeat of any character in front of the pattern: where it could start is tried everywhere. Blank texts, word borders,
assertions and possessive repeats of a single character are followed exactly; longer assertions are taken for what they
may let through, so that a pattern may be refused that is fast, but not the other way round.
"""

from __future__ import annotations

import ast
import json
import re
import re._compiler as compiler
import re._constants as ops
import re._parser as parser
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from math import inf, log2
from pathlib import Path
from time import process_time
from typing import Any

#: Stands for the start of a text among the characters before a place, and for its end among those after it.
BORDER = 1
#: Copies of a repeat that are written out; a repeat that may go on for longer counts as one without an end.
COPIES = 10
#: Characters that stand for all others of their kind beside those a pattern names.
KINDS = "".join(map(chr, range(128))) + "\x85\xa0°²½ßéǅжא٣एʼ—“\u2003\u3000中�😀"
SINGLE = (ops.LITERAL, ops.NOT_LITERAL, ops.ANY, ops.IN)
REPEATS = (ops.MAX_REPEAT, ops.MIN_REPEAT, ops.POSSESSIVE_REPEAT)
#: Ways of use that try a pattern from every place of a text; the others try it at the start.
SEARCHES = {"search", "sub", "subn", "split", "findall", "finditer", "scanner"}


_GROUP = "a possessive repeat of more than a character is matched wrongly by Python before 3.11.5"


class UnreadableError(Exception):
    """A pattern holds something that this analysis does not follow."""


@dataclass(frozen=True)
class Step:
    """A way from one node to another without a character: what may stand before and after, and whether it may fail."""

    to: int
    before: int
    after: int
    may_fail: bool


@dataclass
class Automaton:
    """A pattern as nodes joined by steps, some of which take a character.

    Attributes:
        pattern, flags: as compiled.
        way: how it is used: 'match', 'fullmatch' or 'search'.
    """

    pattern: str | bytes
    flags: int = 0
    way: str = "search"
    steps: list[list[Step]] = field(default_factory=list)
    takes: dict[int, tuple[int, int]] = field(default_factory=dict)  # node -> (characters, node behind)

    def __post_init__(self) -> None:
        self.tree = parser.parse(self.pattern, self.flags)
        self.all_flags = self.tree.state.flags
        self._split_characters()
        self.start, self.end = self._node(), self._node()
        first = self._sequence(self.tree, self.start, self.all_flags)
        self._join(
            first, self.end, after=BORDER if self.way == "fullmatch" else self.any, may_fail=self.way == "fullmatch"
        )
        if self.way == "search":
            self.takes[self.start] = (self.any & ~BORDER, self.start)

    # --- characters ---------------------------------------------------------------------------

    def _split_characters(self) -> None:
        """Characters in groups that the pattern does not tell apart; each group is a bit, the border another."""
        text = not isinstance(self.pattern, bytes)
        singles = [(node, flags) for node, flags in _singles(self.tree, self.all_flags)]
        named = set(KINDS) if text else set(map(chr, range(256)))
        for code in _codes(self.tree):
            named |= {chr(c) for c in (code - 1, code, code + 1) if 0 <= c < (0x110000 if text else 256)}
            named |= {c for c in (chr(code).lower(), chr(code).upper()) if len(c) == 1 and (text or ord(c) < 256)}
        tests = [_tester(self.tree, node, flags) for node, flags in singles]
        words = re.compile(r"\w", self.all_flags & (re.ASCII | re.UNICODE)) if text else re.compile(rb"\w")
        groups: dict[tuple[bool, ...], list[str]] = {}
        for c in sorted(named):
            given: Any = c if text else c.encode("latin-1")
            key = (*(test.match(given) is not None for test in tests), words.match(given) is not None, c == "\n")
            groups.setdefault(key, []).append(c)
        self.samples = [_readable(group) for group in groups.values()]
        bits = [2 << i for i in range(len(groups))]
        self.any = BORDER | sum(bits)
        self._sets = {
            (id(node), flags): sum(bit for bit, key in zip(bits, groups, strict=True) if key[i])
            for i, (node, flags) in enumerate(singles)
        }
        self.word = sum(bit for bit, key in zip(bits, groups, strict=True) if key[-2])
        self.newline = sum(bit for bit, key in zip(bits, groups, strict=True) if key[-1])

    def character(self, bit: int) -> str:
        """A character of a group."""
        return self.samples[bit.bit_length() - 2]

    # --- building -----------------------------------------------------------------------------

    def _node(self) -> int:
        self.steps.append([])
        return len(self.steps) - 1

    def _join(
        self, a: int, b: int, before: int | None = None, after: int | None = None, may_fail: bool = False
    ) -> None:
        self.steps[a].append(
            Step(b, self.any if before is None else before, self.any if after is None else after, may_fail)
        )

    def _sequence(self, items: Any, at: int, flags: int) -> int:
        for node in items:
            at = self._item(node, at, flags)
        return at

    def _item(self, node: tuple[Any, Any], at: int, flags: int) -> int:
        op, value = node
        out = self._node()
        if op in SINGLE:
            taker = self._node()
            self._join(at, taker)
            self.takes[taker] = (self._sets[id(node), flags], out)
        elif op is ops.BRANCH:
            for choice in value[1]:
                self._join(self._sequence(choice, self._opened(at), flags), out)
        elif op is ops.SUBPATTERN:
            _, add, drop, inner = value
            self._join(self._sequence(inner, at, (flags | add) & ~drop), out)
        elif op is ops.ATOMIC_GROUP:
            inner = value
            if len(inner) != 1 or inner[0][0] is not ops.MAX_REPEAT:
                raise UnreadableError(_GROUP)
            self._join(self._repeat(ops.POSSESSIVE_REPEAT, *inner[0][1], at, flags), out)
        elif op in REPEATS:
            self._join(self._repeat(op, *value, at, flags), out)
        elif op is ops.AT:
            self._place(value, at, out, flags)
        elif op in (ops.ASSERT, ops.ASSERT_NOT):
            self._assertion(op, value, at, out, flags)
        elif op is not ops.FAILURE:
            raise UnreadableError(f"{op} is not followed")
        return out

    def _opened(self, at: int) -> int:
        node = self._node()
        self._join(at, node)
        return node

    def _repeat(self, op: Any, least: int, most: int, inner: Any, at: int, flags: int) -> int:
        out = self._node()
        leave = self.any
        if op is ops.POSSESSIVE_REPEAT:
            if (kind := self._single(inner, flags)) is None:
                raise UnreadableError(_GROUP)
            leave &= ~kind
        endless = most is ops.MAXREPEAT or most > COPIES
        for copy in range(min(least, COPIES) if endless else most):
            if copy >= least:
                self._join(at, out, after=leave)
            at = self._sequence(inner, self._opened(at), flags)
        if endless:
            # the way in and the way on are nodes of their own: to go on within and to go on without are two ways
            self._join(at, out, after=leave)
            enter = self._opened(at)
            behind = self._sequence(inner, enter, flags)
            self._join(behind, enter)
            self._join(behind, out, after=leave)
        else:
            self._join(at, out)
        return out

    def _single(self, inner: Any, flags: int) -> int | None:
        """The characters of a pattern that takes exactly one, or None."""
        while len(inner) == 1 and inner[0][0] is ops.SUBPATTERN:
            _, add, drop, inner = inner[0][1]
            flags = (flags | add) & ~drop
        return self._sets[id(inner[0]), flags] if len(inner) == 1 and inner[0][0] in SINGLE else None

    def _place(self, kind: Any, at: int, out: int, flags: int) -> None:
        bound = self.newline | BORDER
        other = self.any & ~self.word
        if kind in (ops.AT_BEGINNING, ops.AT_BEGINNING_STRING):
            lines = kind is ops.AT_BEGINNING and flags & re.MULTILINE
            self._join(at, out, before=bound if lines else BORDER, may_fail=True)
        elif kind in (ops.AT_END, ops.AT_END_STRING):
            self._join(at, out, after=bound if kind is ops.AT_END else BORDER, may_fail=True)
        elif kind is ops.AT_BOUNDARY:
            self._join(at, out, before=self.word, after=other, may_fail=True)
            self._join(at, out, before=other, after=self.word, may_fail=True)
        elif kind is ops.AT_NON_BOUNDARY:
            self._join(at, out, before=self.word, after=self.word, may_fail=True)
            self._join(at, out, before=other, after=other, may_fail=True)
        else:
            raise UnreadableError(f"{kind} is not followed")

    def _assertion(self, op: Any, value: tuple[int, Any], at: int, out: int, flags: int) -> None:
        direction, inner = value
        probe = self._node()
        end = self._sequence(inner, probe, flags)
        ahead = direction > 0
        behind_one = not ahead and inner.getwidth() == (1, 1)
        allowed, exact = self._let_through(probe, end, last=not ahead)
        if op is ops.ASSERT_NOT:
            allowed = self.any & ~allowed if exact and (ahead or behind_one) else self.any
        if ahead:
            self._join(at, probe)  # it is looked at from here; nothing leads on from its end
            self._join(at, out, after=allowed, may_fail=True)
        else:
            self._join(at, out, before=allowed, may_fail=True)

    def _let_through(self, probe: int, end: int, last: bool) -> tuple[int, bool]:
        """The first (or last) characters of what lies between two nodes, and whether no other decides about it."""
        allowed, exact = 0, True
        if last:
            for taken, behind in self.takes.values():
                if behind >= probe and any(to == end for to, _, _, _ in self._ways(behind, {end})):
                    allowed |= taken
            return allowed or self.any, True
        for to, _, after, may_fail in self._ways(probe, {end}):
            if to == end:
                allowed |= after
                continue
            taken, behind = self.takes[to]
            allowed |= taken & after
            exact &= not may_fail and any(
                next_to == end and not fails for next_to, _, _, fails in self._ways(behind, {end})
            )
        return allowed, exact

    # --- following ----------------------------------------------------------------------------

    def _ways(self, at: int, stops: set[int] | None = None) -> Iterator[tuple[int, int, int, bool]]:
        """Every way without a character to a node that takes one (or is a stop): (node, before, after, may fail)."""
        stops = stops or set()

        def walk(node: int, passed: tuple[int, ...], before: int, after: int, fails: bool) -> Any:
            if node in self.takes or node in stops:
                yield node, before, after, fails
            for step in self.steps[node]:
                if step.to not in passed and step.before & before and step.after & after:
                    yield from walk(
                        step.to, (*passed, step.to), step.before & before, step.after & after, fails or step.may_fail
                    )

        yield from walk(at, (at,), self.any, self.any, False)

    @cached_property
    def edges(self) -> dict[int, list[tuple[int, int, int]]]:
        """Between states that take a character and from which the pattern may still fail: (state, before, after)."""
        ends = {taker: list(self._ways(behind, {self.end})) for taker, (_, behind) in self.takes.items()}
        settled = {
            taker
            for taker, ways in ends.items()
            if taker != self.start and any(to == self.end and not fails for to, _, _, fails in ways)
        }
        return {
            taker: [(to, before, after) for to, before, after, _ in ways if to != self.end and to not in settled]
            for taker, ways in ends.items()
            if taker not in settled
        }

    def _steps_on(self, state: int, character: int) -> list[tuple[int, int]]:
        """(state, the characters it may take) after a state that took a character."""
        return [
            (to, allowed)
            for to, before, after in self.edges[state]
            if before & character and (allowed := after & self.takes[to][0])
        ]

    @cached_property
    def reach(self) -> dict[int, set[int]]:
        """The states behind each state."""
        ahead = {state: {to for to, _, _ in ways} for state, ways in self.edges.items()}
        for _ in ahead:
            grown = {state: set().union(tos, *(ahead[to] for to in tos)) for state, tos in ahead.items()}
            if grown == ahead:
                break
            ahead = grown
        return ahead

    def slow_text(self) -> tuple[str, str] | None:
        """(text before, text to repeat) on which the number of paths outgrows the text; None where there is none."""
        loops = [state for state, ahead in self.reach.items() if state in ahead]
        for state in loops:
            if again := self._two_ways(state):
                return again
        for p in loops:
            for q in loops:
                if p != q and q in self.reach[p] and (pumped := self._pumped(p, q)):
                    return pumped
        return None

    def _two_ways(self, state: int) -> tuple[str, str] | None:
        """Two ways without a character between two states that lie on a loop."""
        ways = self.edges[state]
        for i, (to, before, after) in enumerate(ways):
            for other, before_too, after_too in ways[:i]:
                last = before & before_too & self.takes[state][0]
                following = after & after_too & self.takes[to][0]
                if to == other and state in self.reach[to] | {to} and last and following:
                    bit = following & -following
                    back = self._path(to, bit, state)
                    if back is not None:
                        return self._lead(to, bit), "".join(map(self.character, back)) + self.character(bit)
        return None

    def _path(self, at: int, character: int, goal: int) -> list[int] | None:
        """The characters that lead from a state that took one to another state."""
        queue: list[tuple[int, int, list[int]]] = [(at, character, [])]
        seen = {(at, character)}
        for state, taken, path in queue:
            if state == goal:
                return path
            for to, allowed in self._steps_on(state, taken):
                for bit in _bits(allowed):
                    if (to, bit) not in seen:
                        seen.add((to, bit))
                        queue.append((to, bit, [*path, bit]))
        return None

    def _lead(self, goal: int, character: int) -> str:
        """A text from the start to a state that takes a character last."""
        queue: list[tuple[int, int, list[int]]] = []
        seen = set()
        for to, before, after, _ in self._ways(self.start):
            if before & BORDER and to in self.edges:
                queue += [(to, bit, [bit]) for bit in _bits(self.takes[to][0] & after)]
        for state, taken, path in queue:
            if state == goal and taken == character:
                return "".join(map(self.character, path))
            for to, allowed in self._steps_on(state, taken):
                for bit in _bits(allowed):
                    if (to, bit) not in seen:
                        seen.add((to, bit))
                        queue.append((to, bit, [*path, bit]))
        return ""

    def _pumped(self, p: int, q: int) -> tuple[str, str] | None:
        """A text that leads from p to p, from p to q and from q to q."""
        around = {s for s in self.reach[p] | {p} if p in self.reach.get(s, ())}
        around_q = {s for s in self.reach[q] | {q} if q in self.reach.get(s, ())}
        between = {s for s in self.reach[p] | {p} if q in self.reach.get(s, ()) or s == q}
        for first in _bits(self.takes[p][0] & self.takes[q][0]):
            begin = (p, p, q, first)
            queue: list[tuple[tuple[int, int, int, int], str]] = [(begin, "")]
            seen = {begin}
            for (x, y, z, last), text in queue:
                for x2, a in self._steps_on(x, last):
                    if x2 not in around:
                        continue
                    for z2, c in self._steps_on(z, last):
                        if z2 not in around_q or not a & c:
                            continue
                        for y2, b in self._steps_on(y, last):
                            if y2 not in between:
                                continue
                            for bit in _bits(a & b & c):
                                if (x2, y2, z2, bit) == (p, q, q, first):
                                    return self._lead(p, first), text + self.character(bit)
                                following = (x2, y2, z2, bit)
                                if following not in seen:
                                    seen.add(following)
                                    queue.append((following, text + self.character(bit)))
        return None


def slow_text(pattern: str | bytes, flags: int = 0, way: str = "search") -> tuple[str, str] | None:
    """(text before, text to repeat) on which a pattern takes more than linear time; None where it never does.

    Raises:
        UnreadableError: it holds something that is not followed.
    """
    return Automaton(pattern, flags, way).slow_text()


def _bits(mask: int) -> Iterator[int]:
    mask &= ~BORDER
    while mask:
        bit = mask & -mask
        yield bit
        mask ^= bit


def _readable(group: list[str]) -> str:
    return next(
        (c for c in group if c.isalnum() and c.isascii()), next((c for c in group if c.isprintable()), group[0])
    )


def _singles(items: Any, flags: int) -> Iterator[tuple[tuple[Any, Any], int]]:
    """Every part that takes one character, with the flags that hold there."""
    for node in items:
        op, value = node
        if op in SINGLE:
            yield node, flags
        elif op is ops.BRANCH:
            for choice in value[1]:
                yield from _singles(choice, flags)
        elif op is ops.SUBPATTERN:
            yield from _singles(value[3], (flags | value[1]) & ~value[2])
        elif op is ops.ATOMIC_GROUP:
            yield from _singles(value, flags)
        elif op in REPEATS:
            yield from _singles(value[2], flags)
        elif op in (ops.ASSERT, ops.ASSERT_NOT):
            yield from _singles(value[1], flags)


def _codes(items: Any) -> Iterator[int]:
    """The characters that a pattern names, and the ends of its ranges."""
    for (op, value), _ in _singles(items, 0):
        for kind, what in [(op, value)] if op is not ops.IN else value:
            if kind in (ops.LITERAL, ops.NOT_LITERAL):
                yield what
            elif kind is ops.RANGE:
                yield from what


def _tester(tree: Any, node: tuple[Any, Any], flags: int) -> Any:
    """A compiled pattern of one part alone."""
    return compiler.compile(parser.SubPattern(tree.state, [node]), flags & ~re.DEBUG)


# --- texts that make a pattern work hard ------------------------------------------------------


def attacks(pattern: str | bytes, flags: int = 0) -> list[tuple[str, str, str]]:
    """(before, to repeat, after) for each repeat of a pattern: what leads there, its own text, what makes it fail."""
    automaton = Automaton(pattern, flags, "match")
    tree = automaton.tree

    def sample(items: Any, flags: int, pick: int) -> str:
        text = ""
        for node in items:
            op, value = node
            if op in SINGLE:
                choices = list(_bits(automaton._sets[id(node), flags]))
                text += automaton.character(choices[pick % len(choices)]) if choices else ""
            elif op is ops.BRANCH:
                text += sample(value[1][pick % len(value[1])], flags, pick)
            elif op is ops.SUBPATTERN:
                text += sample(value[3], (flags | value[1]) & ~value[2], pick)
            elif op is ops.ATOMIC_GROUP:
                text += sample(value, flags, pick)
            elif op in REPEATS:
                text += sample(value[2], flags, pick) * max(1, min(value[0], COPIES))
            elif op is ops.ASSERT and value[0] > 0:
                text += sample(value[1], flags, pick)
        return text

    texts: dict[tuple[str, str, str], None] = {}

    def visit(items: Any, flags: int, lead: str, pick: int) -> str:
        for node in items:
            op, value = node
            if op in REPEATS:
                again = sample(value[2], flags, pick)
                taken = automaton._single(value[2], flags) or 0
                others = [automaton.character(bit) for bit in _bits(automaton.any & ~taken)]
                for after in ("", *others[pick::2][:2]):
                    texts[lead, again, after] = None
                texts["", lead + again, ""] = None  # where it is searched, it may begin again and again
                visit(value[2], flags, lead, pick)
            elif op is ops.BRANCH:
                for choice in value[1]:
                    visit(choice, flags, lead, pick)
            elif op is ops.SUBPATTERN:
                visit(value[3], (flags | value[1]) & ~value[2], lead, pick)
            elif op is ops.ATOMIC_GROUP:
                visit(value, flags, lead, pick)
            elif op in (ops.ASSERT, ops.ASSERT_NOT):
                visit(value[1], flags, lead, pick)
            lead += sample([node], flags, pick)
        return lead

    for pick in range(2):
        whole = visit(tree, automaton.all_flags, "", pick)
        for after in ("", "\x00"):
            texts["", whole, after] = None
            texts["", whole[: len(whole) // 2 or 1], after] = None
    return [key for key in texts if key[1]]


# --- the patterns of a package ----------------------------------------------------------------


@dataclass(frozen=True)
class Use:
    """A pattern in a source file: where it stands, what it is, and how it is used."""

    file: str
    line: int
    pattern: str | bytes
    flags: int
    way: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.pattern!r} ({self.way})"


def uses(path: Path, names: dict[str, Any], shown: str) -> tuple[list[Use], list[str]]:
    """Every pattern of a module, and the places where one is put together while the program runs.

    Args:
        path: its source.
        names: what its names stand for.
        shown: what to call it.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    known: list[Use] = []
    unknown: list[str] = []
    seen: set[ast.AST] = set()
    for statement in tree.body:
        targets = statement.targets if isinstance(statement, ast.Assign) else [getattr(statement, "target", None)]
        calls = [node for node in ast.walk(statement) if _called(node) == "compile"]
        if isinstance(statement, (ast.Assign, ast.AnnAssign)) and calls and isinstance(targets[0], ast.Name):
            seen.update(calls)
            ways = _ways_of(tree, targets[0].id)
            for held in _held(names[targets[0].id]):
                known += [Use(shown, statement.lineno, held.pattern, held.flags, way) for way in ways]
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "re":
            unknown.append(f"{shown}:{node.lineno} takes names out of re: write re.search and the like")
        called = _called(node)
        if called is None or called in ("escape", "purge", "error") or node in seen:
            continue
        assert isinstance(node, ast.Call)
        try:
            pattern = eval(compile(ast.Expression(node.args[0]), shown, "eval"), dict(names))
            given = next((k.value for k in node.keywords if k.arg == "flags"), None)
            flags = 0 if given is None else int(eval(compile(ast.Expression(given), shown, "eval"), dict(names)))
        except NameError:
            unknown.append(
                f"{shown}:{node.lineno} puts a pattern together while the program runs, so that nothing can check it"
            )
            continue
        if isinstance(pattern, re.Pattern):
            pattern, flags = pattern.pattern, pattern.flags
        known.append(Use(shown, node.lineno, pattern, flags, called if called in ("match", "fullmatch") else "search"))
    return known, unknown


def _called(node: ast.AST) -> str | None:
    """The name of the function of `re` that is called, or None."""
    if (
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id == "re"
    ):
        return node.func.attr
    return None


def _ways_of(tree: ast.Module, name: str) -> list[str]:
    """How a module uses the patterns behind one of its names; searched where that does not show."""
    ways = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            base: ast.AST = node.value
            while isinstance(base, ast.Subscript):
                base = base.value
            if isinstance(base, ast.Name) and base.id == name:
                ways.add("search" if node.attr in SEARCHES else node.attr)
    return sorted(ways & {"search", "match", "fullmatch"}) or ["search"]


def _held(value: Any) -> Iterator[re.Pattern[Any]]:
    """The compiled patterns in a value."""
    if isinstance(value, re.Pattern):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from _held(each)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for each in value:
            yield from _held(each)


# --- measuring --------------------------------------------------------------------------------

#: Seconds below which a time says nothing about how it grows, and the longest text tried, in characters.
FLOOR = 0.002
LONGEST = 12_000


def runaway(use: Use, texts: list[tuple[str, str, str]], sure: int) -> str:
    """How the time of a pattern outgrows its text, for the first of some texts that makes it; '' for none.

    Args:
        use: the pattern.
        texts: (before, to repeat, after) of each.
        sure: how many times in a row it must be seen, on a machine that has other things to do.
    """
    pattern = re.compile(use.pattern, use.flags)
    tries: dict[str, Any] = {"match": pattern.match, "fullmatch": pattern.fullmatch}

    def seconds(parts: tuple[str, str, str], count: int, times: int = 1) -> float:
        text: Any = parts[0] + parts[1] * count + parts[2]
        if isinstance(use.pattern, bytes):
            text = text.encode("latin-1")
        best = inf
        for _ in range(times):
            start = process_time()
            if use.way == "search":
                for _ in pattern.finditer(text):
                    pass
            else:
                tries[use.way](text)
            best = min(best, process_time() - start)
        return best

    def grows(parts: tuple[str, str, str], count: int) -> str:
        once, step = seconds(parts, count, 3), max(1, 4 // len(parts[1]), count // 8)
        if count > 400 and seconds(parts, count + count // 4, 3) < 1.4 * once:
            return ""  # the square of the time would be 1.56 times as long
        # small steps first: what doubles with every character must not run away before it is seen
        for more in range(count + step, 2 * count, step):
            if seconds(parts, more) > 8.0 * once:
                return f"takes over 8 times as long when it is {more / count:.2g} times as long"
        exponent = log2(max(seconds(parts, 4 * count, 2), 1e-9) / seconds(parts, 2 * count, 2))
        return f"takes time to the power of {exponent:.1f}" if exponent > 1.5 else ""

    for parts in texts:
        few = max(1, 4 // len(parts[1]))
        count = 2 * few
        while count * len(parts[1]) <= LONGEST:
            if seconds(parts, count) >= FLOOR:
                if all((outgrown := grows(parts, count)) for _ in range(sure)):
                    return f"{parts[1]!r} repeated behind {parts[0]!r} {outgrown}"
                break
            count += few if count * len(parts[1]) < 48 else count // 2
    return ""


def watch() -> None:
    """For a process of its own: measures what stands on standard input, and says before each what it measures."""
    for line in sys.stdin:
        file, at, pattern, flags, way, binary, texts, sure = json.loads(line)
        use = Use(file, at, pattern.encode("latin-1") if binary else pattern, flags, way)
        print(json.dumps([str(use), None]), flush=True)
        print(json.dumps([str(use), runaway(use, texts or attacks(use.pattern, use.flags), sure)]), flush=True)


def watched(known: list[Use], seconds: float, texts: list[Any] | None = None, sure: int = 1) -> list[str]:
    """`runaway` of patterns, measured in a process that is stopped after a while; a line for each that runs away.

    Args:
        known: the patterns.
        seconds: after which the process is stopped.
        texts: for each pattern; its `attacks` when None.
        sure: as for `runaway`.
    """
    given = ""
    for use, own in zip(known, texts or [None] * len(known), strict=True):
        binary = isinstance(use.pattern, bytes)
        shown = use.pattern.decode("latin-1") if isinstance(use.pattern, bytes) else use.pattern
        given += json.dumps([use.file, use.line, shown, use.flags, use.way, binary, own, sure]) + "\n"
    command = [sys.executable, "-c", "import patterns; patterns.watch()"]
    try:
        ended = subprocess.run(
            command, input=given, capture_output=True, text=True, timeout=seconds, cwd=Path(__file__).parent, check=True
        )
        lines, stopped = ended.stdout, False
    except subprocess.TimeoutExpired as error:
        lines, stopped = (error.stdout or b"").decode(), True
    rows = [json.loads(line) for line in lines.splitlines()]
    slow = [f"{name}: {how}" for name, how in rows if how]
    if stopped and rows and rows[-1][1] is None:
        slow.append(f"{rows[-1][0]}: did not come to an end")
    assert stopped or len(rows) == 2 * len(known)
    return slow
