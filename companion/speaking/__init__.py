"""Wording prompts for ear and eye, turning them into sound, and playing it."""

from companion.speaking.earcons import Cue
from companion.speaking.mouth import Mouth
from companion.speaking.playback import Loudspeaker
from companion.speaking.voice import MutedVoice, SpokenVoice, Voice
from companion.speaking.wording import to_ear, to_eye

__all__ = [
    "Cue", "Loudspeaker", "Mouth", "MutedVoice", "SpokenVoice", "Voice", "to_ear", "to_eye",
]  # fmt: skip
