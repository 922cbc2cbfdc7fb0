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

PROCEDURE = "procedures/shorted_circuit.toml"
VOCABULARY = "vocabulary.toml"
PROFILE = "profiles/cooling_gas_furnace.toml"


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
    assert caught.value.file == str(path)
    return caught.value


@pytest.mark.parametrize(
    ("file", "old", "new", "key", "expected"),
    [
        (PROCEDURE, 'go = "equipment"', 'go = "equip"', "steps.site.outcomes", "name of a step"),
        (PROCEDURE, 'start = "site"', 'start = "sight"', "start", "name of a step"),
        (PROCEDURE, 'phase = "arrive"', 'phase = "arrival"', "steps.site.phase", "arrive"),
        (PROCEDURE, 'judge = "coil_ohms"', 'judge = "coil"', "steps.coil.judge", "coil_ohms"),
        (
            PROCEDURE,
            'answers = ["bright", "dim", "dark"]',
            'says = ["bright", "dim", "dark"]',
            "steps.lamp.says",
            "not permitted",
        ),
        (
            PROCEDURE,
            'answers = ["trips", "holds"]',
            'answers = ["trips", "holds", "dim"]',
            "steps.breaker_idle.outcomes",
            "outcome for the answer 'dim'",
        ),
        (
            PROCEDURE,
            'below = 1.0\nsay = "Nothing on R',
            'below = 0.5\nsay = "Nothing on R',
            "steps.supply.outcomes",
            "outcome for the value",
        ),
        (
            PROCEDURE,
            'over_limit = true\nsay = "Fuse is open',
            'say = "Fuse is open',
            "steps.fuse.outcomes",
            "over_limit",
        ),
        (PROCEDURE, 'verdict = "under"', 'verdict = "undr"', "steps.fitted.outcomes", "'under'"),
        (PROCEDURE, "{marked} goes in later", "{market} goes in later", "steps.fitted", "'market'"),
        (VOCABULARY, 'ohms = "ohm"', 'ohms = "furlong"', "units", "furlong"),
        (VOCABULARY, 'skip = ["skip"', 'skipp = ["skip"', "commands", "commands"),
        (VOCABULARY, "bright = [", "bright = 3 #", "answers.bright", "tuple"),
        (PROFILE, "awg = 18", "awg = 180", "cable.awg", "less than or equal to 26"),
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
        old = 'phase = "sweep"\npower = "dead"\nisolated = true\neach = "circuits"'
        error = break_(copy, PROCEDURE, old, old.replace("dead", "any"))
        assert error.key == "steps.ohms.power"

    def test_zero_volts_may_not_be_left_out(self, copy):
        error = break_(copy, PROCEDURE, 'go = "zero_volts"', 'go = "power_off"')
        assert error.key == "interlocks.dead"

    def test_zero_means_less_than_a_volt(self, copy):
        old = "below = 1.0    # from memory"
        text = (copy / PROCEDURE).read_text(encoding="utf-8")
        new = text.replace(old, "below = 30.0 #").replace(
            'at_least = 1.0\nsay = "That', 'at_least = 30.0\nsay = "That'
        )
        (copy / PROCEDURE).write_text(new, encoding="utf-8")
        with pytest.raises(DataFileError) as caught:
            load_dialogs(copy)
        assert caught.value.key == "interlocks.dead"

    def test_ohms_at_the_board_need_the_fuse_out(self, copy):
        old = 'isolated = true\nsay = "Coil wires'
        error = break_(copy, PROCEDURE, old, old.replace("true", "false"))
        assert error.key == "steps.wiring.isolated"

    def test_a_safety_step_takes_no_yes(self, copy):
        old = 'answers = ["power_off"]\n'
        error = break_(copy, PROCEDURE, old, 'answers = ["power_off", "yes"]\n')
        assert error.key == "steps.power_off"

    def test_a_safety_step_has_no_skip(self, copy):
        error = break_(copy, PROCEDURE, 'earns = "live"', 'earns = "live"\nskip = "supply"')
        assert error.key == "steps.clear"

    def test_an_interlock_is_earned_by_safety_steps_only(self, copy):
        old = 'power = "any"\nsafety = true\nearns = "live"'
        error = break_(copy, PROCEDURE, old, 'power = "any"\nearns = "live"')
        assert error.key in {"steps.clear", "steps.clear.earns"}

    def test_an_interlock_may_not_be_dropped(self, copy):
        error = break_(copy, PROCEDURE, 'outdoor = "capacitor"', "")
        assert error.key == "interlocks"


def test_a_word_that_the_model_lacks_is_named(dialogs):
    needed = frozenset(missing_words(dialogs, frozenset()))
    require_words(dialogs, needed, folder("dialogs"))
    with pytest.raises(DataFileError, match=r"vocabulary\.toml.*'ohms'"):
        require_words(dialogs, needed - {"ohms"}, folder("dialogs"))
    with pytest.raises(DataFileError, match=r"heat-pump-air-handler.*'reversing'"):
        require_words(dialogs, needed - {"reversing"}, folder("dialogs"))


# "about twelve words and five seconds": the say and the why of each step, one sentence
# each counted apart. Fourteen leaves room for a tag to be repeated.
MOST_WORDS = 14


def test_prompts_are_short(dialogs):
    procedure = dialogs.library.procedure
    long = {}
    for name, step in procedure.steps.items():
        said = [step.say, step.why, step.caution or "", *(o.say or "" for o in step.outcomes)]
        for text in said:
            for sentence in re.split(r"(?<=[.?:]) ", text):
                if len(sentence.split()) > MOST_WORDS:
                    long[name] = sentence
    assert not long


def test_nothing_advises_what_must_never_be_done(dialogs):
    """No bypass, no bigger fuse, no R to C: such words stand only beside a refusal."""
    refusals = ("never", "no safety switch stays", "may not be bigger")
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
        ["value", "terminal", "circuit", "part", "wiring", "marked", "fitted", "new_fuse",
         "leads", "phase", "first", "second", "unit", "options"], "Y",
    )  # fmt: skip
    steps = dialogs.library.procedure.steps.values()
    texts = [t for s in steps for t in (s.say, s.why, s.caution, *(o.say for o in s.outcomes)) if t]
    texts += list(dialogs.library.replies.model_dump().values())
    for text in texts:
        used = {name for _, name, _, _ in Formatter().parse(text) if name}
        said = to_ear(Prompt(role="tell", template=text, slots={k: slots[k] for k in used}))
        assert "{" not in said
