"""From sound or typing to words: the ears of the companion."""

from companion.hearing.ears import Ears
from companion.hearing.microphone import Microphone
from companion.hearing.model_choice import find_model
from companion.hearing.model_files import SHIPPED
from companion.hearing.recogniser import Recogniser
from companion.hearing.recording import Recording
from companion.hearing.spoken import SpokenEars
from companion.hearing.typed import TypedEars

__all__ = [
    "SHIPPED",
    "Ears",
    "Microphone",
    "Recogniser",
    "Recording",
    "SpokenEars",
    "TypedEars",
    "find_model",
]
