"""Words to meaning: readings, answers, commands, or an honest NotUnderstood."""

from companion.understanding.interpret import Interpreter
from companion.understanding.phrases import phrases_for
from companion.understanding.vocabulary import Vocabulary, load_vocabulary

__all__ = ["Interpreter", "Vocabulary", "load_vocabulary", "phrases_for"]
