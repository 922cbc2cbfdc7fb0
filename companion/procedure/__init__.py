"""The procedure of a call: steps, outcomes, interlocks, and the talk through them."""

from companion.procedure.conversation import Conversation
from companion.procedure.library import Library, load_library
from companion.procedure.walk import CounselFor, Walk

__all__ = ["Conversation", "CounselFor", "Library", "Walk", "load_library"]
