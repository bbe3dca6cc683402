"""What to write in place of a line that TOML does not take, for people who have never heard of TOML."""

from __future__ import annotations

from converter.quoting import shortened

#: Quotation marks that word processors and telephones write for straight ones.
_CURLY = "“”„‟«»‘’‚‛″′"
_STRAIGHT = ("'", '"')
_TRUTHS = {"true": "true", "yes": "true", "on": "true", "false": "false", "no": "false", "off": "false"}
_BLANKS = " \t"


def line_cure(text: str, number: int) -> str:
    """What to write for a line of a TOML file that the parser stopped at, or what it lacks; '' where nobody can tell.

    Args:
        text: the whole file.
        number: of the line, from 1.

    Returns:
        The middle of a sentence, without a full stop.
    """
    rows = text.replace("\r\n", "\n").split("\n")
    if not 0 < number <= len(rows):
        return ""
    row, before = _without_comment(rows[number - 1]), rows[: number - 1]
    for c in row:
        if c in _CURLY:
            return f"{c} is no quotation mark here: write straight ones, \" or '"
        if c.isspace() and c not in _BLANKS:
            return f"a character that looks like a blank is none (U+{ord(c):04X}): delete it and type a blank"
    row = row.strip(_BLANKS)
    if not row:
        return ""
    return _header_cure(row, before) if row.startswith("[") else _pair_cure(row, before)


def _without_comment(row: str) -> str:
    """The line up to its comment; quotes around a number sign keep it."""
    quote = ""
    for at, c in enumerate(row):
        if quote:
            quote = "" if c == quote else quote
        elif c in _STRAIGHT:
            quote = c
        elif c == "#":
            return row[:at]
    if quote:  # a quote that is not closed takes the comment along
        return row.partition("#")[0] if "#" in row else row
    return row


def _header_cure(row: str, before: list[str]) -> str:
    """The same of a table's heading."""
    listed = row.startswith("[[")
    name = row.strip("[]" + _BLANKS)
    if not name:
        return ""
    right = f"[[{name}]]" if listed else f"[{name}]"
    if row.replace(" ", "") != right.replace(" ", ""):
        return f"a bracket is missing or too many: write {shortened(right)}"
    headings = {_without_comment(each).strip(_BLANKS) for each in before}
    one, several = f"[{shortened(name)}]", f"[[{shortened(name)}]]"
    above = [heading for heading in (f"[{name}]", f"[[{name}]]") if heading in headings]
    if above and not (listed and above == [right]):
        return (
            f"{shortened(right)} follows {shortened(above[0] if listed else above[-1])}: write {several} above "
            f"each where there may be several, as of dies, else {one} once, with all its keys below"
        )
    return ""


def _pair_cure(row: str, before: list[str]) -> str:
    """The same of a key and its value."""
    key, equals, value = (part.strip(_BLANKS) for part in row.partition("="))
    if not equals:
        key, _, value = row.replace(":", " ", 1).partition(" ")
        value = value.strip(_BLANKS)
        return _instead(key, _right_value(value) or value) if value and _is_key(key) else ""
    if not value:
        return f"{shortened(key)} has no value: write one behind the equals sign, or leave the line out"
    if not _is_key(key):
        return ""
    right = _right_value(value)
    if right:
        return _instead(key, right)
    for each in reversed(before):
        bare = _without_comment(each).strip(_BLANKS)
        if bare.startswith("["):
            break
        if bare.partition("=")[0].strip(_BLANKS) == key:
            return f"{shortened(key)} stands twice in one table: leave one of the two out"
    return ""


def _right_value(value: str) -> str:
    """What to write for a value that TOML does not take; '' where that is not what is wrong, or nobody can tell."""
    if value.casefold() in _TRUTHS:
        return "" if value in ("true", "false") else _TRUTHS[value.casefold()]
    if value[0] in "[{" or value[:3] in ('"""', "'''"):
        return ""
    if value[0] in _STRAIGHT:
        inner = value[1:].removesuffix(value[0])
        closed = len(value) > 1 and value[-1] == value[0] and value[0] not in inner and "\\" not in inner
        return "" if closed or not inner else _in_quotes(inner)
    number = value.replace("_", "")
    if _is_number(number):
        return "" if _as_number(number) == number else _as_number(number)
    if number.count(",") == 1 and _is_number(number.replace(",", ".")):
        return _as_number(number.replace(",", "."))
    return _in_quotes(value.strip("\"'"))


def _is_number(text: str) -> bool:
    digits = text.lstrip("+-").replace(".", "", 1)
    return digits.isascii() and digits.isdigit()


def _as_number(text: str) -> str:
    """A number as TOML has it: digits on either side of the point, none that say nothing in front."""
    sign, digits = ("-" if text[0] == "-" else ""), text.lstrip("+-")
    whole, point, part = digits.partition(".")
    whole = whole.lstrip("0") or "0"
    return f"{sign}{whole}.{part or '0'}" if point else sign + whole


def _in_quotes(inner: str) -> str:
    """Text in quotes that it does not hold; '' of one that holds both."""
    quote = next((quote for quote in ('"', "'") if quote not in inner), "")
    return f"{quote}{inner}{quote}" if quote and "\\" not in inner else ""


def _is_key(text: str) -> bool:
    return bool(text) and text.replace("_", "").replace("-", "").replace(".", "").isalnum()


def _instead(key: str, value: str) -> str:
    return f"write {shortened(f'{key} = {value}')}"
