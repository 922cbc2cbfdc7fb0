"""A simulated installation with a hidden fault, and a technician who reads it."""

from companion.practice.habits import STEADY, USUAL, Habits
from companion.practice.hands import Asked
from companion.practice.house import House, faults, hidden_fault
from companion.practice.technician import Technician

__all__ = ["STEADY", "USUAL", "Asked", "Habits", "House", "Technician", "faults", "hidden_fault"]
