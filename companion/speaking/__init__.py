"""Wording prompts for ear and eye, turning them into sound, and playing it."""

from companion.speaking.playback import play, why_silent
from companion.speaking.voice import MutedVoice, SpokenVoice, Voice
from companion.speaking.wording import to_ear, to_eye

__all__ = ["MutedVoice", "SpokenVoice", "Voice", "play", "to_ear", "to_eye", "why_silent"]
