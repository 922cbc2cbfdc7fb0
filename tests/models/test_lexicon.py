"""The lexicon parses, names its faults, and covers what a technician says."""

import pytest

from models.measure.lists import steps
from models.recipe import lexicon

SPOKEN = """
zero oh o one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen
sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred
thousand point and half quarter tenths minus niner a an ohm ohms volt volts amp amps milliamp
milliamps millivolts kilohm kilohms megohm megohms k meg megs kay feet foot va watts hertz degrees
percent seconds minutes ac dc alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo
lima mike november oscar papa quebec romeo sierra tango uniform victor whiskey x-ray yankee zulu
power off on locked out tagged all clear site gas smoke burning water smell meter proven thermostat
base lifted disconnected connected covers fuse blown good bad breaker lamp resettable light just
only furnace heat pump air handler cooling heating fan common reversing valve auxiliary emergency
contactor coil cable wire splice board transformer tripped trips trip holds held hold click clicks
hum bright dim dark lit open closed short shorted dead line over limit overload infinite beep beeps
no yes right correct confirm confirmed wrong negative affirmative repaired replaced runs running
nothing can't stop repeat back correction skip why status note help resume continue ready done next
again say undo change mark slower louder more what where was i how sure far capacitor discharged
safe sequencer relay damper humidifier float pressure switch outdoor indoor unit house attic roof
end close finish red white yellow green blue black orange brown uh um dehum
""".split()  # noqa: SIM905


def test_the_lexicon_covers_numbers_units_terminals_answers_and_commands() -> None:
    words = lexicon.load()
    wanted = {*SPOKEN, *"abcdefghijklmnopqrstuvwxyz"}
    assert sorted(wanted - set(words)) == []


def test_the_lexicon_covers_the_phrase_lists_that_the_model_is_measured_with() -> None:
    words = set(lexicon.load())
    for step in steps().values():
        assert sorted(step.words - words) == []


def test_several_lines_are_several_pronunciations_and_comments_are_skipped() -> None:
    words = lexicon.parse("# numbers\nzero Z IH R OW\nzero Z IY R OW  # stretched\n\nohm OW M\n")
    assert words == {
        "zero": (("Z", "IH", "R", "OW"), ("Z", "IY", "R", "OW")),
        "ohm": (("OW", "M"),),
    }


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("ohm OW MM", "line 1: ohm: unknown sounds MM"),
        ("\nohm", "line 2: ohm: no sounds"),
        ("ohm OW M\nohm OW M", "line 2: ohm: the same pronunciation twice"),
    ],
)
def test_a_faulty_line_is_named(text: str, fault: str) -> None:
    with pytest.raises(ValueError, match=fault):
        lexicon.parse(text)
