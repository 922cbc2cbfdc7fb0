"""A call cut short goes on where it was; what is on record decides."""

from __future__ import annotations

import io
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from companion import cli
from companion.call import Call
from companion.errors import JournalError, ReplayDiffers, VoiceError
from companion.hearing import TypedEars
from companion.journal import JOURNAL, Journal, read, seal
from companion.messages import (
    CallResumed,
    Concluded,
    Consent,
    Entry,
    Message,
    Prompt,
    Spoken,
    StepEntered,
)
from companion.speaking import MutedVoice
from companion.turns import replay
from companion.understood import HeardWord, Utterance
from tests.calls.scripts import lines_of
from tests.conftest import DEAD, LEADS, Quiet, opened

LINES = lines_of("ice-cream parlour")
RECORDING = str(Path(__file__).parent / "calls" / "frozen_valve.flac")
TRUTH = Concluded(outcome="repaired", circuit="Y", part="contactor coil", proved=True)


def run(dialogs, folder: Path, lines, voice=None, screen=None) -> Concluded | None:
    with Journal(folder) as journal:
        call = Call(
            dialogs, journal, opened(dialogs), ears=TypedEars(io.StringIO("\n".join(lines))),
            voice=voice or MutedVoice(), screen=screen or Quiet(),
        )  # fmt: skip
        return call.run()


def messages(folder: Path) -> list[Message]:
    return [entry.message for entry in read(folder / JOURNAL).entries]


@pytest.fixture(scope="module")
def whole(tmp_path_factory, request):
    from companion.datafiles import folder
    from companion.turns import load_dialogs

    place = tmp_path_factory.mktemp("whole")
    assert run(load_dialogs(folder("dialogs")), place, LINES) == TRUTH
    return (place / JOURNAL).read_bytes()


def test_resume_after_a_crash_at_any_line(dialogs, whole, tmp_path):
    """Cut after every seventh line of the journal: the call resumes and reaches the same end."""
    lines = whole.splitlines(keepends=True)
    entries = [Entry.model_validate_json(line).message for line in lines]
    without_speech = [message for message in entries if not isinstance(message, Spoken)]
    for cut in range(1, len(lines), 7):
        place = tmp_path / str(cut)
        place.mkdir()
        (place / JOURNAL).write_bytes(b"".join(lines[:cut]))
        before = messages(place)
        if any(isinstance(message, Concluded) for message in before):
            continue
        with Journal(place) as journal:
            call = Call(
                dialogs, journal, opened(dialogs), ears=TypedEars(io.StringIO("")),
                voice=MutedVoice(), screen=Quiet(),
            )  # fmt: skip
            standing = call._turns.walk.standing
        again = messages(place)
        assert again[: len(before)] == before
        if call.concluded is not None:  # the last words were on record, their end was not
            assert again[-1] == TRUTH
            continue
        resumed = next(i for i, m in enumerate(again) if isinstance(m, CallResumed))
        said_before = [m for m in again[:resumed] if not isinstance(m, Spoken)]
        assert said_before == without_speech[: len(said_before)]
        assert isinstance(without_speech[len(said_before)], Utterance)
        assert isinstance(again[-1], Spoken)
        assert replay(dialogs, again)[0].walk.standing == standing


def test_a_resumed_call_must_prove_power_again(dialogs, tmp_path):
    begun = LINES.index("fuse out") + 2
    assert LINES[begun - 1 : begun] == LEADS
    assert run(dialogs, tmp_path, LINES[:begun]) is None
    assert run(dialogs, tmp_path, [*DEAD, "fuse out", *LEADS, *LINES[begun:]]) == TRUTH
    after = messages(tmp_path)
    resumed = next(i for i, m in enumerate(after) if isinstance(m, CallResumed))
    entered = [m.step for m in after[resumed:] if isinstance(m, StepEntered)]
    assert entered[:6] == ["power_off", "meter_proven", "zero_volts", "fuse_out", "leads", "hunt"]


def test_a_call_resumed_with_other_ears_trusts_words_as_they_do(dialogs, tmp_path):
    """Typed words are sure. Words heard afterwards are not, and satisfy no safety step unsure."""

    class Unsure:
        words = iter(("power off",))

        def listen(self, *_: object) -> Utterance | None:
            text = next(self.words, None)
            unsure = tuple(HeardWord(text=word, confidence=0.2) for word in (text or "").split())
            return text and Utterance(text=text, source="microphone", words=unsure)

        def close(self) -> None:
            pass

    begun = LINES.index("fuse out") + 2
    assert run(dialogs, tmp_path, LINES[:begun]) is None
    heard = opened(dialogs).model_copy(update={"floor": {"usual": 0.5, "safety": 0.6}})
    with Journal(tmp_path) as journal:
        call = Call(
            dialogs, journal, heard, ears=Unsure(), voice=MutedVoice(), screen=Quiet(),
        )  # fmt: skip
        call.run()
        assert call._turns.walk.standing.place.step == "power_off"
    assert replay(dialogs, messages(tmp_path))[0].walk.standing.place.step == "power_off"


def test_after_the_computer_slept_power_must_be_proven_again(dialogs, tmp_path):
    """What is said first on waking is not taken, and no ohms are asked before zero volts."""

    class Slept:
        asked = 0

        def since_last_asked_s(self) -> float:
            self.asked += 1
            return 3600.0 if self.asked == begun + 1 else 0.0

    begun = LINES.index("fuse out") + 2
    said = (*LINES[:begun], "sixty", *DEAD, "fuse out", *LEADS, *LINES[begun:])
    with Journal(tmp_path) as journal:
        call = Call(
            dialogs, journal, opened(dialogs), ears=TypedEars(io.StringIO("\n".join(said))),
            voice=MutedVoice(), screen=Quiet(), asleep=Slept(),
        )  # fmt: skip
        assert call.run() == TRUTH
    after = messages(tmp_path)
    woken = next(i for i, m in enumerate(after) if isinstance(m, CallResumed))
    entered = [m.step for m in after[woken:] if isinstance(m, StepEntered)]
    assert entered[:6] == ["power_off", "meter_proven", "zero_volts", "fuse_out", "leads", "hunt"]
    assert replay(dialogs, after)[0].concluded == TRUTH


def test_a_finished_call_says_nothing_more(dialogs, whole, tmp_path):
    (tmp_path / JOURNAL).write_bytes(whole)
    assert run(dialogs, tmp_path, ["site clear"]) == TRUTH
    assert (tmp_path / JOURNAL).read_bytes() == whole


def test_a_record_that_was_changed_is_not_resumed(dialogs, whole, tmp_path):
    changed = whole.replace(b"three amps", b"five amps", 1)
    assert changed != whole
    (tmp_path / JOURNAL).write_bytes(changed)
    with pytest.raises(JournalError, match="was changed at line"):
        run(dialogs, tmp_path, [])


def test_a_record_that_leads_elsewhere_is_not_resumed(dialogs, whole, tmp_path):
    """Changed and sealed anew: what follows from it is still not what stands there."""
    lines, mark = b"", ""
    for line in whole.replace(b"three amps", b"five amps", 1).splitlines():
        sealed, mark = seal(mark, Entry.model_validate_json(line))
        lines += sealed
    (tmp_path / JOURNAL).write_bytes(lines)
    with pytest.raises(ReplayDiffers):
        run(dialogs, tmp_path, [])


def test_a_voice_that_fails_leaves_the_call_readable(dialogs, tmp_path):
    class Hoarse:
        def say(self, text: str):
            raise VoiceError("The engine hung.", safe="Read on.", do="Say repeat.")

        def close(self) -> None:
            pass

    screen = Quiet()
    assert run(dialogs, tmp_path, LINES, Hoarse(), screen) == TRUTH
    assert "engine hung" in screen.warnings[0]


def test_nothing_is_said_that_is_not_on_record(dialogs, tmp_path):
    """When a prompt is spoken, everything it rests on is already on disk."""

    class Checks:
        spoken = 0

        def say(self, text: str):
            on_disk = messages(tmp_path)
            assert isinstance(on_disk[-1], Prompt | Concluded)
            assert isinstance(on_disk[1], StepEntered)
            self.spoken += 1

        def close(self) -> None:
            pass

    voice = Checks()
    assert run(dialogs, tmp_path, LINES, voice) == TRUTH
    assert voice.spoken == sum(isinstance(m, Utterance) for m in messages(tmp_path)) + 1


class TestCommands:
    def test_ctrl_c_leaves_a_call_that_resumes(self, tmp_path):
        command = [sys.executable, "-m", "companion", "call", "--typed", "--mute", "--calls",
                   str(tmp_path)]  # fmt: skip
        call = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            cwd=Path(__file__).parents[1],
        )  # fmt: skip
        call.stdin.write("site clear\nfuse blows\n")
        call.stdin.flush()
        for line in call.stdout:
            if "What equipment" in line:
                break
        time.sleep(0.1)
        call.send_signal(signal.SIGINT)
        rest, _ = call.communicate(timeout=20)
        assert call.returncode == 130
        assert "--resume" in rest
        resumed = subprocess.run(
            [*command, "--resume"], input="furnace\n", capture_output=True, text=True,
            timeout=20, cwd=Path(__file__).parents[1], check=False,
        )  # fmt: skip
        assert resumed.returncode == 2
        assert "humidifier" in resumed.stdout
        (place,) = tmp_path.iterdir()
        assert any(isinstance(m, CallResumed) for m in messages(place))

    def test_where_nothing_can_be_saved_the_call_goes_on_aloud(self, tmp_path, capsys, monkeypatch):
        (tmp_path / "file").write_text("")
        monkeypatch.setattr(sys, "stdin", io.StringIO("site clear\nfuse blows\n"))
        monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "passing"))
        place = str(tmp_path / "file" / "calls")
        assert cli.main(["call", "--typed", "--mute", "--calls", place]) == 2
        out = capsys.readouterr().out
        assert "I can't save" in out
        assert "What equipment" in out
        (kept,) = (tmp_path / "passing" / "companion-unsaved").iterdir()
        assert str(kept) in out
        assert sum(isinstance(m, Utterance) for m in messages(kept)) == 2

    def test_the_sound_of_the_whole_call_is_kept_by_consent_only(
        self, tmp_path, capsys, monkeypatch
    ):
        silence = tmp_path / "silence.wav"
        soundfile.write(silence, np.zeros(16000 * 2, np.int16), 16000)
        command = ["call", "--mute", "--wav", str(silence), "--calls"]
        cli.main([*command, str(tmp_path / "without")])
        assert not list(tmp_path.glob("without/*/call-*.flac"))
        cli.main([*command, str(tmp_path / "with"), "--consent", "agreed by both"])
        (sound,) = tmp_path.glob("with/*/call-01.flac")
        assert soundfile.info(sound).duration == pytest.approx(2.0, abs=0.2)
        given = [m for m in messages(sound.parent) if isinstance(m, Consent)]
        assert given == [Consent(covers="whole_call", given=True, said="agreed by both")]
        monkeypatch.setattr(sys, "stdin", io.StringIO(""))
        assert cli.main([*command[:2], "--typed", "--resume", str(sound.parent)]) == 2

    @pytest.mark.parametrize(
        ("arguments", "status", "told"),
        [
            (["call", "--typed", "--mute", "--profile", "igloo"], 3, "cooling-gas-furnace"),
            (["call", "--typed", "--mute", "--resume"], 8, "no unfinished call"),
            (["call", "--mute", "--wav", "nowhere.wav"], 5, "nowhere.wav"),
            (["call", "--mute", "--wav", RECORDING, "--model", "nowhere"], 4, "nowhere"),
            (["demo", "--scenario", "atlantis"], 3, "atlantis"),
        ],
    )
    def test_errors_say_what_is_safe_and_what_to_do(
        self, tmp_path, capsys, arguments, status, told
    ):
        assert cli.main([*arguments, "--calls", str(tmp_path)]) == status
        err = capsys.readouterr().err
        assert told in err
        assert "Safe:" in err
        assert "Do:" in err

    @pytest.mark.parametrize(
        ("arguments", "told"),
        [
            ("distance 0.9 --leads 0.2 --feet 100", "54.8"),  # 0.7 / (2 x 6.385e-3), NBS 100
            ("loop --feet 50", "0.6385 ohm"),
            ("fuse 10 0.7 --marked 3", "over the board's 3 A"),
            ("coil OL", "over limit"),
        ],
    )
    def test_reckoning_by_hand(self, capsys, arguments, told):
        assert cli.main(["reckon", *arguments.split()]) == 0
        out = capsys.readouterr().out
        assert told in out
        assert "Source:" in out

    @pytest.mark.parametrize(
        ("arguments", "told"),
        [("coil 12 --family igloo", "igloo"), ("distance 0.9 --feet -3", "some length")],
    )
    def test_reckoning_nonsense_is_told(self, capsys, arguments, told):
        with pytest.raises(SystemExit) as ended:
            cli.main(["reckon", *arguments.split()])
        assert ended.value.code == 2
        assert told in capsys.readouterr().err

    @pytest.mark.parametrize("arguments", [["--help"], ["call", "--help"], ["demo", "--help"]])
    def test_help(self, capsys, arguments):
        with pytest.raises(SystemExit) as ended:
            cli.main(arguments)
        assert ended.value.code == 0
        assert len(capsys.readouterr().out.splitlines()) > 15
