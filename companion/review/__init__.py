"""The record of a call, made readable."""

from companion.review.plain import plain_record

__all__ = ["plain_record"]
