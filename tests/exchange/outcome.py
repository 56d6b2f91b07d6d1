"""What a reader makes of something typed: its value, or the sentence of its refusal; other errors fly."""

from doffer.errors import InputError


def outcome(read, *args, **named):
    try:
        return read(*args, **named)
    except InputError as refused:
        return str(refused)


def is_sentence(text):
    return isinstance(text, str) and text.endswith(".") and len(text) > 20
