"""Generated numbers, printed in every form that schemas read, with what Python's decimal says that they are.

`python -m support.number_forms 100000` (from tests/) reads that many back and tells how long it took.
"""

import random
import sys
import time
from collections import Counter
from decimal import Decimal

from readoff.readings import Capture, CaptureKind, load_schemas, read_run
from readoff.readings.shown import TEXT_KINDS

A_CAPTURE = 400  # numbers
COLUMNS = 80

# Form: the keys of its metric. The group takes whatever is not blank, as the guide advises.
FORMS = {
    "plain": "",
    "point": "",
    "grouped": "",
    "thousands": 'comma = "thousands"',
    "comma": 'comma = "decimal"',
    "dotted": 'comma = "decimal"',
    "exponent": "",
    "double": "",
    "hex": "",
    "minutes": "",
    "hours": "",
    "stated": 'clock = "mm:ss"',
    "noon": 'clock = "hh:mm"',
    "millis": 'shown_in = "ms"',
    "beside": "",
    "none": "",
}
_UNITS = {
    "us": Decimal("0.000001"),
    "ms": Decimal("0.001"),
    "s": Decimal(1),
    "min": Decimal(60),
    "seconds": Decimal(1),
}


def _schema():
    parts = ['schema = "forms"\ntitle = "Forms"\nheadline = ["plain"]\n[recognise]\nall = ["^Forms "]\n']
    for form, keys in FORMS.items():
        unit = r" (?P<unit>\S+)" if form == "beside" else ""
        parts.append(
            f"[metrics.{form}]\npattern = '^[ 0-9]*{form}: *(?P<number>\\S+){unit}'\n"
            f'unit = "s"\nbetter = "lower"\noptional = true\n{keys}\n'
        )
    return load_schemas([("forms.toml", "".join(parts))])


def _digits(draw, most=12):
    return str(draw.randrange(10 ** draw.randint(1, most)))


def _fraction(draw):
    return "".join(draw.choices("0123456789", k=draw.randint(1, 6)))


def _sign(draw):
    return draw.choice(["", "", "-", "+"])


def _number(draw, form):
    """(as printed, what it is); None for what is no number. Decimal reads and multiplies, keeping every digit."""
    sign, whole, fraction = _sign(draw), _digits(draw), _fraction(draw)
    exact = Decimal(f"{sign}{whole}.{fraction}")
    match form:
        case "plain":
            text = draw.choice([f"{sign}{whole}", f"{sign}{whole}.{fraction}", f"{sign}000{whole}"])
            return text, Decimal(text)
        case "point":
            return f"{sign}.{fraction}", Decimal(f"{sign}.{fraction}")
        case "grouped":
            large = exact + 1000 if exact >= 0 else exact - 1000
            return f"{large:,}", large
        case "thousands":
            return f"{int(whole):,}", Decimal(whole)
        case "comma":
            return f"{exact}".replace(".", ","), exact
        case "dotted":
            return f"{exact:,}".translate({0x2C: ".", 0x2E: ","}), exact
    return _marked(draw, form, fraction) or _time_or_none(draw, form, whole, fraction)


def _marked(draw, form, fraction):
    power = f"{draw.choice(['+', '-', ''])}{draw.randrange(40):02}"
    value = draw.randrange(16 ** draw.randint(1, 12))
    match form:
        case "exponent":
            text = f"{draw.randrange(10)}.{fraction}{draw.choice('eE')}{power}"
            return text, Decimal(text)
        case "double":
            text = f"{draw.randrange(10)}.{fraction}"
            return f"{text}{draw.choice('dD')}{power}", Decimal(f"{text}E{power}")
        case "hex":
            return draw.choice([f"0x{value:x}", f"0X{value:04X}"]), Decimal(value)
    return None


def _time_or_none(draw, form, whole, fraction):
    hours, minutes, seconds = draw.randrange(100), draw.randrange(60), draw.randrange(60)
    match form:
        case "minutes":
            return f"{minutes}:{seconds:02}.{fraction}", minutes * 60 + Decimal(f"{seconds}.{fraction}")
        case "hours":
            tail = draw.choice(["", f".{fraction}"])
            whole_seconds = Decimal(f"{seconds}{tail}")
            return f"{hours}:{minutes:02}:{seconds:02}{tail}", hours * 3600 + minutes * 60 + whole_seconds
        case "stated":
            return f"{minutes}:{seconds:02}", Decimal(minutes * 60 + seconds)
        case "noon":
            return f"{hours}:{minutes:02}", Decimal(hours * 3600 + minutes * 60)
        case "millis":
            return f"{whole}.{fraction}", Decimal(f"{whole}.{fraction}") * Decimal("0.001")
        case "beside":
            unit = draw.choice(list(_UNITS))
            return f"{whole}.{fraction} {unit}", Decimal(f"{whole}.{fraction}") * _UNITS[unit]
    three = f"{draw.randint(100, 999)}"
    nothing = [
        "OVERFLOW",
        "*" * draw.randint(1, 9),
        f"<{whole}.{fraction}",
        f"{whole}.",
        f"{whole}O",
        f"{whole},{three}",
    ]
    return draw.choice(
        [*nothing, "NaN", f"{whole}.{three}.{three}", f"{minutes}:{seconds:02}", "1.#INF", "-"]
    ), None


def _line(draw, form, text):
    width = draw.choice([0, 0, 12, 20])
    return f"{draw.choice(['', '  ', '17 '])}{form}: {text:>{width}}"


def _capture(draw, lines):
    """As a console, a file or a screen shows them."""
    kind = draw.choice(TEXT_KINDS)
    if kind is CaptureKind.SCREEN:
        rows = "".join(line.ljust(COLUMNS) for line in lines).encode("ascii")
        return Capture(kind, bytes(octet for code in rows for octet in (code, 7)), COLUMNS)
    progress = "  0 %\r" if kind is CaptureKind.CONSOLE else ""  # overwritten by the line that follows
    return Capture(kind, "\r\n".join(progress + line.ljust(6) for line in lines).encode("ascii"))


def as_shown(draw, lines):
    """Captures of these lines as one of the kinds shows them."""
    return [_capture(draw, lines)]


def check(count, seed, *, captures=as_shown, batch=A_CAPTURE):
    """Print, capture and read so many numbers: (how many of each form were right, mistakes in words).

    captures: makes captures of a batch of lines.
    """
    schemas = _schema()
    draw = random.Random(seed)
    right: Counter[str] = Counter()
    wrong: list[str] = []
    for begin in range(0, count, batch):
        wanted = {form: [] for form in FORMS}
        lines = ["Forms of numbers"]
        for _ in range(min(batch, count - begin)):
            form = draw.choice(list(FORMS))
            text, value = _number(draw, form)
            wanted[form].append((text, value))
            lines.append(_line(draw, form, text))
        _compare(read_run(captures(draw, lines), schemas), wanted, right, wrong)
    return right, wrong


def _compare(readout, wanted, right, wrong):
    got = {(reading.metric, reading.occurrence): reading for reading in readout.readings}
    held = {(hold.metric, hold.occurrence) for hold in readout.holds}
    for form, numbers in wanted.items():
        for place, (text, value) in enumerate(numbers):
            reading = got.pop((form, place), None)
            if value is None:
                good = reading is None and (form, place) in held
            else:
                good = reading is not None and _same(reading, value, form)
            right[form] += good
            if not good:
                wrong.append(f"{form}: {text!r} should be {value}, is {reading and reading.value}")
    wrong += [f"{metric} {place}: never printed" for metric, place in got]


def _same(reading, value, form):
    """Equal to the last digit, with the places and the quantum that the digits say."""
    exponent = value.as_tuple().exponent
    quantum = Decimal((0, (1,), exponent))
    if form == "noon":
        quantum = Decimal(60)
    elif form == "beside" and reading.quantum != quantum:
        quantum = 60 * quantum  # read in minutes
    same_digits = reading.value.as_tuple() == value.as_tuple()
    return same_digits and reading.decimals == max(0, -exponent) and reading.quantum == quantum


def main():
    """Read as many numbers as the command line says, and tell what came of them."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    begin = time.perf_counter()
    right, wrong = check(count, seed=1993)
    took = time.perf_counter() - begin
    print(f"{right.total()} of {count} as decimal has them, in {took:.1f} s: {dict(sorted(right.items()))}")
    for mistake in wrong[:20]:
        print(mistake)
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
