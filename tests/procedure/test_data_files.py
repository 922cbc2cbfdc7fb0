"""A wrong value in dialogs/ is an error that names file, key and what was expected."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from string import Formatter

import pytest

from companion.datafiles import folder
from companion.errors import DataFileError
from companion.messages import Prompt
from companion.speaking.wording import to_ear
from companion.turns import load_dialogs, missing_words, require_words

STEPS = "procedures/control_circuit/"
FRAME = f"{STEPS}procedure.toml"
ARRIVE, SAFE, SUPPLY, FUSE, HUNT, REPAIR, PROVE = (
    f"{STEPS}{name}.toml"
    for name in ("arrive", "safe", "supply", "fuse", "hunt", "repair", "prove")
)
VOCABULARY = "vocabulary.toml"
PROFILE = "equipment/cooling_gas_furnace.toml"


@pytest.fixture
def copy(tmp_path) -> Path:
    return Path(shutil.copytree(folder("dialogs"), tmp_path / "dialogs"))


def break_(copy: Path, file: str, old: str, new: str) -> DataFileError:
    path = copy / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DataFileError) as caught:
        load_dialogs(copy)
    assert caught.value.file.partition(".toml:")[0].removesuffix(".toml") == str(path).removesuffix(
        ".toml"
    )
    return caught.value


@pytest.mark.parametrize(
    ("file", "old", "new", "key", "expected"),
    [
        (ARRIVE, 'go = "equipment"', 'go = "equip"', "steps.complaint.outcomes", "name of a step"),
        (FRAME, 'start = "site"', 'start = "sight"', "start", "name of a step"),
        (ARRIVE, 'phase = "arrive"', 'phase = "arrival"', "steps.site.phase", "arrive"),
        (REPAIR, 'judge = "terminal_ohms"', 'judge = "coil"', "steps.recheck.judge", "coil_ohms"),
        (HUNT, 'answers = ["damaged"', 'says = ["damaged"', "steps.place.says", "not permitted"),
        (
            HUNT,
            'answers = ["damaged", "sound"]',
            'answers = ["damaged", "sound", "dim"]',
            "steps.place.outcomes",
            "outcome for the answer 'dim'",
        ),
        (
            SUPPLY,
            'below = 1.0\nsay = "Nothing on R',
            'below = 0.5\nsay = "Nothing on R',
            "steps.supply.outcomes",
            "outcome for the value",
        ),
        (
            FUSE,
            'over_limit = true\nsay = "Fuse is open',
            'say = "Fuse is open',
            "steps.fuse.outcomes",
            "over_limit",
        ),
        (FUSE, 'verdict = "under"', 'verdict = "undr"', "steps.fitted.outcomes", "'under'"),
        (FUSE, "{marked} goes in later", "{market} goes in later", "steps.fitted", "'market'"),
        (SAFE, "[steps.clear]", "[steps.power_off]", "(syntax)", "TOML"),
        (VOCABULARY, 'ohms = "ohm"', 'ohms = "furlong"', "units", "furlong"),
        (VOCABULARY, 'skip = ["skip"', 'skipp = ["skip"', "commands", "commands"),
        (VOCABULARY, "bright = [", "bright = 3 #", "answers.bright", "tuple"),
        (PROFILE, "awg = 18", "awg = 180", "cables.thermostat.awg", "less than or equal to 26"),
        (PROFILE, 'answer = "cooling_furnace"', 'answer = "igloo"', "answer", "vocabulary"),
        ("replies.toml", "held =", "hold =", "held", "required"),
        ("replies.toml", "held =", "held", "(syntax)", "TOML"),
    ],
)
def test_errors_name_file_key_and_expectation(copy, file, old, new, key, expected):
    error = break_(copy, file, old, new)
    assert error.key == key
    assert expected.lower() in error.expected.lower()


class TestSafetyRules:
    """What no procedure may say, whoever writes it."""

    def test_ohms_need_a_dead_step(self, copy):
        old = 'power = "dead"\nneeds = ["unfused", "zeroed"]'
        error = break_(copy, REPAIR, old, old.replace("dead", "any"))
        assert error.key == "steps.recheck.power"

    def test_zero_volts_may_not_be_left_out(self, copy):
        error = break_(copy, SAFE, 'go = "zero_volts"', 'go = "power_off"')
        assert error.key == "interlocks.dead"

    def test_zero_means_less_than_a_volt(self, copy):
        old = "below = 1.0    # from memory"
        text = (copy / SAFE).read_text(encoding="utf-8")
        new = text.replace(old, "below = 30.0 #").replace(
            'at_least = 1.0\nsay = "That', 'at_least = 30.0\nsay = "That'
        )
        (copy / SAFE).write_text(new, encoding="utf-8")
        with pytest.raises(DataFileError) as caught:
            load_dialogs(copy)
        assert caught.value.key == "interlocks.dead"

    def test_ohms_at_the_board_need_the_fuse_out(self, copy):
        error = break_(copy, REPAIR, 'needs = ["unfused", "zeroed"]', 'needs = ["zeroed"]')
        assert error.key == "steps.recheck.needs"

    def test_a_safety_step_takes_no_yes(self, copy):
        old = 'answers = ["power_off"]\n'
        error = break_(copy, SAFE, old, 'answers = ["power_off", "yes"]\n')
        assert error.key == "steps.power_off"

    def test_a_safety_step_has_no_skip(self, copy):
        error = break_(copy, SAFE, 'earns = ["live"]', 'earns = ["live"]\nskip = "supply"')
        assert error.key == "steps.clear"

    def test_an_interlock_is_earned_by_safety_steps_only(self, copy):
        old = 'power = "any"\nsafety = true\nearns = ["live"]'
        error = break_(copy, SAFE, old, 'power = "any"\nearns = ["live"]')
        assert error.key in {"steps.clear", "steps.clear.earns"}

    @pytest.mark.parametrize("line", ['outdoor = "capacitor"', 'lamp = "lamp_fit"'])
    def test_an_interlock_may_not_be_dropped(self, copy, line):
        assert break_(copy, FRAME, line, "").key == "interlocks"

    def test_what_is_fitted_shuts_ohms_at_the_board_again(self, copy):
        old = 'loses = ["isolated", "unfused", "breaker", "fused"]'
        error = break_(copy, SAFE, old, 'loses = ["unfused", "breaker", "fused"]')
        assert error.key == "steps.lamp_fit.outcomes"

    def test_a_fuse_counts_as_fitted_only_where_r_was_read(self, copy):
        error = break_(copy, FUSE, 'say = "Right rating."', 'say = "Right."\ngains = ["fused"]')
        assert error.key == "steps.fitted.outcomes"

    def test_an_error_names_the_line_that_the_step_stands_at(self, copy):
        error = break_(copy, SUPPLY, 'go = "ground"', 'go = "grind"')
        line = int(error.file.rpartition(":")[2])
        text = (copy / SUPPLY).read_text(encoding="utf-8").splitlines()
        assert text[line - 1] == "[steps.supply]"


def test_a_word_that_the_model_lacks_is_named(dialogs):
    needed = frozenset(missing_words(dialogs, frozenset()))
    require_words(dialogs, needed, folder("dialogs"))
    with pytest.raises(DataFileError, match=r"vocabulary\.toml.*'ohms'"):
        require_words(dialogs, needed - {"ohms"}, folder("dialogs"))
    with pytest.raises(DataFileError, match=r"equipment, heat-pump.*'reversing'"):
        require_words(dialogs, needed - {"reversing"}, folder("dialogs"))


# "about twelve words and five seconds": the say and the why of each step, one sentence
# each counted apart. Fourteen leaves room for a tag to be repeated.
MOST_WORDS = 14


def test_prompts_are_short(dialogs):
    procedure = dialogs.library.procedure
    long = {}
    for name, step in procedure.steps.items():
        said = [step.say, step.why, step.brief or "", step.caution or "",
                *(o.say or "" for o in step.outcomes)]  # fmt: skip
        for text in said:
            for sentence in re.split(r"(?<=[.?:]) ", text):
                if len(sentence.split()) > MOST_WORDS:
                    long[name] = sentence
    assert not long


def test_nothing_advises_what_must_never_be_done(dialogs):
    """No bypass, no bigger fuse, no R to C: such words stand only beside a refusal."""
    refusals = ("never", "no safety switch stays", "may not be bigger", "jumpers and tools out")
    texts = [
        t
        for s in dialogs.library.procedure.steps.values()
        for t in (s.say, s.why, s.caution or "", *(o.say or "" for o in s.outcomes))
    ]
    for text in texts:
        lower = text.lower()
        if re.search(r"bypass|upsiz|bigger|jumper|oversize", lower):
            assert any(word in lower for word in refusals) or "oversized fuse lets" in lower, text


def test_every_text_can_be_worded(dialogs):
    slots = dict.fromkeys(
        ["value", "terminal", "circuit", "part", "fault", "repair", "marked", "fitted",
         "new_fuse", "leads", "phase", "first", "second", "unit", "options", "at", "suspects",
         "left", "findings", "unfinished", "likeliest", "mended"], "Y",
    )  # fmt: skip
    steps = dialogs.library.procedure.steps.values()
    texts = [t for s in steps for t in (s.say, s.why, s.caution, *(o.say for o in s.outcomes)) if t]
    texts += list(dialogs.library.replies.model_dump().values())
    for text in texts:
        used = {name for _, name, _, _ in Formatter().parse(text) if name}
        said = to_ear(Prompt(role="tell", template=text, slots={k: slots[k] for k in used}))
        assert "{" not in said
