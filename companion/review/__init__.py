"""The record of a call, made readable."""

from companion.review.page import review_page
from companion.review.plain import plain_record

__all__ = ["plain_record", "review_page"]
