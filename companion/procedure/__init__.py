"""The procedure of a call: steps, outcomes, interlocks, and the talk through them."""

from companion.procedure.conversation import Conversation
from companion.procedure.library import Library, load_library
from companion.procedure.walk import Walk

__all__ = ["Conversation", "Library", "Walk", "load_library"]
