"""From sound or typing to words: the ears of the companion."""

from companion.hearing.ears import Ears
from companion.hearing.echo import WithoutEcho
from companion.hearing.level import Level
from companion.hearing.microphone import Event, Microphone, input_names
from companion.hearing.model_choice import find_model
from companion.hearing.model_files import SHIPPED
from companion.hearing.overlap import Overlap
from companion.hearing.recogniser import Recogniser
from companion.hearing.recording import Recording
from companion.hearing.spoken import SpokenEars
from companion.hearing.typed import TypedEars

__all__ = [
    "SHIPPED",
    "Ears",
    "Event",
    "Level",
    "Microphone",
    "Overlap",
    "Recogniser",
    "Recording",
    "SpokenEars",
    "TypedEars",
    "WithoutEcho",
    "find_model",
    "input_names",
]
