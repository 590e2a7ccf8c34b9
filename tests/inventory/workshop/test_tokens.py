"""Tokens: what they look like, and that they tell nothing by accident."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.workshop import tokens


def new():
    return tokens.make(tokens.make_prefix())


def test_token_starts_with_its_prefix_and_holds_256_random_bits():
    token = new()

    assert token.text.startswith(f"{token.prefix}_")
    assert len(token.text.removeprefix(f"{token.prefix}_")) * 5 >= 256
    assert len({new().text for _ in range(50)}) == 50


def test_token_is_read_back():
    token = new()

    assert tokens.read(token.text) == token


def test_digest_is_the_sha_256_of_all_of_it():
    token = new()

    assert token.digest == hashlib.sha256(token.text.encode()).hexdigest()
    assert token.is_of(token.digest)
    assert not token.is_of(new().digest)
    assert not token.is_of("")


def test_token_has_no_readable_form():
    token = new()

    assert token.text not in f"{token} {token!r} {[token]}"
    with pytest.raises(AttributeError):
        token.text = "other"


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "",
        lambda text: text[:-1],
        lambda text: f"{text}a",
        lambda text: text.upper(),
        lambda text: f"{text}\n",
        lambda text: f" {text}",
        lambda text: text.replace("rl_", "sk_"),
        lambda text: f"{text[:-1]}ä",
        lambda text: f"{text[:-1]}\N{ARABIC-INDIC DIGIT THREE}",
    ],
)
def test_what_is_no_token_is_not_read(change):
    assert tokens.read(change(new().text)) is None


@given(st.text())
def test_any_text_is_read_or_not(text):
    assert tokens.read(text) is None
    assert not tokens.is_prefix(text)
