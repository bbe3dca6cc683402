"""Command lines around a file: which command, with which options, typed well, oddly or wrongly."""

from __future__ import annotations

from random import Random

from wild import NAMES, NUMBERS, name, number

#: What commands do with a drawing, and how often: what is quick most of the time.
_COMMANDS: tuple[tuple[int, tuple[str, ...]], ...] = (
    (40, ("table", "--json")),
    (12, ("table",)),
    (14, ("audit", "--json")),
    (6, ("audit",)),
    (6, ("setup", "--json")),
    (4, ("setup",)),
    (3, ("setup", "--csv")),
    (3, ("cope", "--json")),
    (2, ("quote", "--json")),
    (2, ("split", "--json")),
    (2, ("cutlist", "--json", "--seconds", "0.2")),
    (5, ("convert", "--out", "{out}", "--to", "csv,json,points-csv,setup-csv")),
    (3, ("convert", "--out", "{out}", "--to", "dxf,profile,template")),
    (1, ("convert", "--out", "{out}", "--to", "svg,as-read")),
    (1, ("convert", "--out", "{out}", "--to", "template-pdf,cope-csv,cope-dxf")),
)
#: The same with the CAD kernel, meshes and the sheet, which take longer.
_THOROUGH: tuple[tuple[str, ...], ...] = (
    ("convert", "--out", "{out}", "--to", "step,wires"),
    ("convert", "--out", "{out}", "--to", "stl,3mf,glb"),
    ("convert", "--out", "{out}", "--to", "step-coped,fit-up,cope-pdf"),
    ("sheet", "--out", "{out}"),
    ("convert", "--out", "{out}", "--to", "png"),
)

_SIZES = (
    "40x2mm", "1.75x0.120in", "30x30x2", "60x30x3mm", "NPS 1-1/4 sch 40", "25mm bar", "RAIL=38x3",
    "40x20x1.5 flat oval",
    "1x1mm",
)  # fmt: skip
#: An option and values that mean something.
_OPTIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("--section", _SIZES),
    ("--metal", ("mild steel", "304", "4130", "6061")),
    ("--clr", ("100", "4.5in", "1e-3", "1e6")),
    ("--units", ("mm", "cm", "m", "in", "ft")),
    ("--join", ("5", "0.001", "100")),
    ("--near", ("10", "0.001")),
    ("--fit", ("1", "0.001", "50")),
    ("--tangent", ("0.01", "5", "44")),
    ("--layers", ("join", "separate")),
    ("--corner", ("mitre", "bend")),
    ("--layer", ("TUBE", "*", "no such", "T*")),
    ("--skip-layer", ("RAIL", "*", "0")),
    ("--skip-color", ("3", "red", "256", "#ff0000")),
    ("--skip-linetype", ("DASHED", "*")),
    ("--layout", ("Layout1", "none", "")),
    ("--run", ("*", "TUBE", "x")),
    ("--fraction", ("16", "2", "128")),
)  # fmt: skip
_FLAGS = ("--refit", "--reverse", "--in", "--mm", "--from-outline", "--verbose", "--quiet", "--take-all")


def reading_words(rng: Random, *files: str, thorough: float = 0.015) -> tuple[str, ...]:
    """A command that reads the files, with a few options, most of them sound.

    Args:
        rng: chance.
        files: the words for the files.
        thorough: share of commands that write solids, meshes or the sheet.
    """
    if rng.random() < thorough:
        words = list(rng.choice(_THOROUGH))
    else:
        words = list(rng.choices([w for _, w in _COMMANDS], [n for n, _ in _COMMANDS])[0])
    words[1:1] = files
    if rng.random() < 0.3:
        words += ["--section", rng.choice(_OPTIONS[0][1])]
    while rng.random() < 0.25:
        option, values = rng.choice(_OPTIONS)
        words += [option, rng.choice(values) if rng.random() < 0.9 else rng.choice((number(rng), name(rng)))]
    while rng.random() < 0.15:
        words.append(rng.choice(_FLAGS))
    return tuple(words)


#: Texts of lengths, angles, sections and pairs of numbers as a person types them, to be mixed and spoilt.
_LENGTHS = (
    "1.75",
    "1 3/4",
    '1-3/4"',
    "2' 3\"",
    "44.45mm",
    "4.5 in",
    "1e2",
    "12,5",
    "3ft",
    "0",
    "-5",
    "100 km",
    "1/0in",
    "1//2",
    "½",
    "5 mm mm",
    "mm",
    "1.2.3in",
    "0x10",
    "１２mm",
)
_ANGLES = ("90", "90°", "45 deg", "-30", "0", "180", "360", "1e3", "90,5", "90:1", "90.5.1")
_SECTIONS = (
    "40x2",
    "40 x 2 mm",
    "1.75x.120in",
    "1-1/2 x 0.095in",
    "NPS 2 sch 80",
    "NPS 1-1/4 sch 40",
    "25mm bar",
    "square 40x2",
    "40x40x2",
    "40x20x2 flat oval",
    "20x5 flat bar",
    "DN 50 sch 40",
    "40",
    "x2",
    "40x",
    "40x30",
    "40x20",
    "1e9x1",
    "40x2x2x2x2",
    "sch 40",
    "NPS 99 sch 40",
    "TUBE=40x2",
    "=40x2",
    "TUBE=",
)
_PAIRS = (
    "93:90.5",
    "93:90.5:3in",
    ":",
    "93:",
    ":90",
    "93:90:80:70",
    "90:1,45:2",
    "90:1,,",
    "90:0",
    "90:-1",
    "90:1e9",
    "nan:1",
    "200:1",
    "12in:1",
    "12in:9",
    "90:1.5",
)
_COLORS = ("red", "3", "256", "-1", "1e3", "#ff0000", "#ff", "", "bylayer")

_TYPED: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("--section", _SECTIONS), ("--clr", _LENGTHS), ("--join", _LENGTHS), ("--near", _LENGTHS), ("--fit", _LENGTHS),
    ("--tangent", _ANGLES),
    ("--units", ("mm", "inch", '"', "km", "", "furlong")), ("--metal", NAMES), ("--run", NAMES), ("--layer", NAMES),
    ("--skip-layer", NAMES),
    ("--skip-color", _COLORS), ("--skip-linetype", NAMES), ("--fraction", NUMBERS), ("--layout", NAMES),
    ("--layers", NAMES), ("--corner", NAMES),
    ("--limit-time", ("60", "none", "0", "1e99", "nan")), ("--limit-memory", ("2GB", "none", "0", "1e99GB", "nanGB")),
)  # fmt: skip
_TYPED_FOR: dict[str, tuple[tuple[str, tuple[str, ...]], ...]] = {
    "table": (),
    "audit": (("--gap", _LENGTHS), ("--feed-from", ("A", "b", "best", "C", ""))),
    "setup": (("--gap", _LENGTHS), ("--feed-from", ("A", "b", "best", "C", ""))),
    "split": (("--longest", _LENGTHS), ("--at", _LENGTHS), ("--at", _LENGTHS)),
    "cutlist": (("--bar", _LENGTHS), ("--jobs", NUMBERS), ("--qty", ("TUBE=3", "*=0", "=", "TUBE=1e9", "x=-1")),
        ("--seconds", NUMBERS)),
    "compare": (("--measured", _PAIRS), ("--rotations", _PAIRS), ("--straights", _PAIRS), ("--stops", _PAIRS),
        ("--tolerance", ("shop", "iso2768-m", "iso13920-b", "iso", ""))),
    "convert": (("--paper", ("A4", "letter", "A3")), ("--paper-thickness", _LENGTHS), ("--step-unit", ("mm", "in")),
        ("--to", ("csv", "csv,json", "all,", "nothing", ""))),
    "quote": (("--jobs", NUMBERS), ("--gap", _LENGTHS)),
    "cope": (("--gap", _LENGTHS),),
}  # fmt: skip


def typed(rng: Random, text: str) -> str:
    """The text, spoilt now and then."""
    roll = rng.random()
    if roll < 0.6:
        return text
    if roll < 0.7:
        return number(rng)
    if roll < 0.78:
        return name(rng)
    out = list(text)
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(out) + 1)
        if out and rng.random() < 0.4:
            del out[min(at, len(out) - 1)]
        else:
            out.insert(
                at,
                rng.choice(
                    (
                        *"0123456789.,:x=/-+ '\"°mint",
                        "\u2033",
                        "\u2032",
                        "\u00d7",
                        "\u2013",
                        "½",
                        "\u202e",
                        "\x00",
                        "9" * 60,
                        " " * 50,
                    )
                ),
            )
    return "".join(out)


def typed_words(rng: Random, command: str, *files: str) -> tuple[str, ...]:
    """A command with options whose values are typed oddly."""
    words = [command, *files]
    choices = (*_TYPED, *_TYPED_FOR.get(command, ()) * 4)
    for _ in range(rng.choice((1, 1, 2, 3))):
        option, values = rng.choice(choices)
        words += [option, typed(rng, rng.choice(values))]
    if rng.random() < 0.4:
        words.append("--json")
    if rng.random() < 0.05:
        words.append(rng.choice((*_FLAGS, "--no-such-option", "-x", "--", "", name(rng))))
    return tuple(words)


_URLS = (
    "http://192.168.1.5:8000/job/", "https://shop.example/x.html", "ftp://x/", "http://", "javascript:alert(1)", "",
    "http://[::1]/", "http://[/", "https://\u202e.example/", "http://x/" + "y" * 3000, "HTTP://X/%", "http://a b/",
    "file:///tmp/x",
)  # fmt: skip
#: Commands that write or plan, what each takes beside what all take, and how often of a hundred.
_PLANS: tuple[tuple[int, tuple[str, ...], tuple[tuple[str, tuple[str, ...]], ...]], ...] = (
    (14, ("split", "--json"), (("--longest", _LENGTHS), ("--at", _LENGTHS), ("--at", ("100", "250mm", "400")))),
    (5, ("split", "--out", "{out}", "--to", "csv,dxf"), (("--longest", ("300", "1ft", "1e-3")), ("--at", _LENGTHS))),
    (14, ("quote", "--json"), (("--jobs", NUMBERS), ("--jobs", ("3", "100")))),
    (4, ("quote", "--csv"), (("--jobs", NUMBERS),)),
    (14, ("cope", "--json"), (("--gap", _LENGTHS),)),
    (4, ("cope", "--out", "{out}", "--to", "cope-dxf,cope-csv,cope-pdf", "--one-each"), (
        ("--paper-thickness", _LENGTHS),)),
    (12, ("audit", "--json"), (("--feed-from", ("A", "B", "best")), ("--gap", _LENGTHS))),
    (8, ("setup", "--json"), (("--feed-from", ("A", "B", "best")), ("--gap", _LENGTHS))),
    (6, ("cutlist", "--json", "--seconds", "0.1"), (
        ("--bar", ("6000", "20ft", *_LENGTHS)), ("--mitre", (*_ANGLES, "45", "60")), ("--jobs", NUMBERS),
        ("--qty", ("TUBE=3", "*=0", "*=999")))),
    (2, ("cutlist", "--out", "{out}", "--seconds", "0.1"), (
        ("--to", ("pdf", "svg,csv", "all", "x")), ("--bar", ("6000",)))),
    (6, ("convert", "--out", "{out}", "--to", "template-pdf,template"), (
        ("--paper", ("A4", "Letter", "A3")), ("--paper-thickness", ("0.1mm", *_LENGTHS)))),
    (3, ("convert", "--out", "{out}", "--each", "--to", "csv,json"), (("--processes", ("1", "0", "-1", "x")),)),
    (2, ("convert", "--out", "{out}", "--to", "step,stl", "--file-each"), (("--step-unit", ("mm", "in", "m")),)),
    (3, ("sheet", "--out", "{out}", "--to", "pdf"), (("--address", _URLS), ("--paper", ("A4", "Letter")))),
    (2, ("sheet", "--out", "{out}", "--to", "html", "--quote"), (("--address", _URLS), ("--processes", ("1", "0")))),
    (1, ("convert", "--out", "-", "--to", "csv"), (("--to", ("csv", "json", "stl", "csv,json")),)),
)  # fmt: skip
_PLANNED: tuple[tuple[str, tuple[str, ...]], ...] = (
    *_OPTIONS, ("--corner", ("mitre", "bend")), ("--corner", ("mitre", "bend")), ("--on-flat", ("square", "cope")),
    ("--clr", ("100", "0.5in", "300")), ("--section", _SIZES), ("--section", ("RUNGS=25x2mm", "40x40x2mm", "30x30x2")),
)  # fmt: skip


def optional_words(rng: Random, *files: str) -> tuple[str, ...]:
    """A command that plans or writes, with several of its options, mostly as they are meant."""
    _, own, more = rng.choices(_PLANS, [share for share, _, _ in _PLANS])[0]
    words = [own[0], *files, *own[1:]]
    if rng.random() < 0.85:
        words += ["--section", rng.choice(("40x2mm", "40x40x2mm", "1.75x0.120in", "30mm bar"))]
    for _ in range(rng.choice((1, 1, 2, 3))):
        option, values = rng.choice((*_PLANNED, *more * 6))
        words += [option, typed(rng, rng.choice(values)) if rng.random() < 0.4 else rng.choice(values)]
    if rng.random() < 0.3:
        words.append(rng.choice((*_FLAGS, "--no-copes", "--refit", "--reverse", "--force")))
    return tuple(words)
