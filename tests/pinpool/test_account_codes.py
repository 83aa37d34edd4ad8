"""A forgotten password, and the e-mail with a code for another."""

import re
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import make_password
from django.core import mail as outbox
from rest_framework.test import APIClient

from pinpool.accounts import mail
from pinpool.accounts.mail import later
from tests.accounts import AT, OTHER, PASSWORD, by_token, session_of
from tests.factories import AccountFactory
from tests.problems import faults_in, problem_of

pytestmark = pytest.mark.django_db


def code_in(message: Any) -> str:
    return str(re.search(r"[A-Za-z0-9_-]+\.[a-z0-9]+-[a-f0-9]{20,}", message.body)[0])  # type: ignore[index]


def test_without_mail_nobody_is_promised_any(walker: Any, api: APIClient, settings: Any) -> None:
    told = []
    for settings.PINPOOL in (settings.PINPOOL | {"MAILS": mails} for mails in (True, False)):
        told.append(api.post(AT + "password-reset/", {"email": "walker@creek.example"}).data["detail"])
        told.append(api.get("/sign-in/forgotten/").content.decode())
    assert ["is on its way" in each or "Send me" in each for each in told] == [True, True, False, False]
    assert ["sends no e-mail" in each for each in told] == [False, False, True, True]
    assert code_in(outbox.outbox[-1])  # in the log then


def ask_for_code(api: APIClient, email: str = "walker@creek.example") -> str:
    assert api.post(AT + "password-reset/", {"email": email}).status_code == 200
    return code_in(outbox.outbox[-1])


def test_a_forgotten_password(walker: Any, api: APIClient) -> None:
    """The code works once; sessions end and tokens are withdrawn, for whoever had the password may hold some."""
    open_session, phone = session_of("walker", PASSWORD), by_token(walker)
    code = ask_for_code(api, "WALKER@creek.example")
    message = outbox.outbox[-1]
    assert message.to == ["walker@creek.example"]
    assert "walker" in message.body
    assert "http" not in message.body
    body = {"code": code, "new_password": OTHER}
    assert api.post(AT + "password-reset/confirm/", body).status_code == 200
    for client in (open_session, phone):
        problem_of(client.get(AT + "me/"), 401)
    session_of("walker", OTHER)
    again = api.post(AT + "password-reset/confirm/", body)
    assert faults_in(again, 422) == {("/code", "unknown_code")}


def test_a_code_names_the_page_that_takes_it(walker: Any, api: APIClient, settings: Any) -> None:
    """From the settings, never from the Host header of whoever asks."""
    settings.PINPOOL = settings.PINPOOL | {"RESET_PAGE": "https://club.example/reset/{code}", "SITE_NAME": "Creek"}
    settings.ALLOWED_HOSTS = ["*"]
    api.post(AT + "password-reset/", {"email": "walker@creek.example"}, HTTP_HOST="evil.example")
    [message] = outbox.outbox
    assert f"https://club.example/reset/{code_in(message)}" in message.body
    assert "evil" not in message.body + message.subject
    assert message.subject == "A new password for Creek"


def test_a_weak_password_does_not_use_a_code_up(walker: Any, api: APIClient) -> None:
    code = ask_for_code(api)
    weak = api.post(AT + "password-reset/confirm/", {"code": code, "new_password": "short"})
    assert faults_in(weak) == {("/new_password", "password_too_short")}
    assert api.post(AT + "password-reset/confirm/", {"code": code, "new_password": OTHER}).status_code == 200


def test_codes_that_do_not_count(walker: Any, api: APIClient, settings: Any) -> None:
    other = AccountFactory.create(username="other", email="other@creek.example", password=walker.password)
    code = ask_for_code(api)
    uid, _, token = code.partition(".")
    mine, _, _ = mail.reset_code(other).partition(".")
    settings.PINPOOL = settings.PINPOOL | {"RESET_TRIES_PER_ADDRESS": (50, 3600)}
    for wrong in (f"{mine}.{token}", uid, f"{uid}.", f".{token}", f"{uid}.{token[:-1]}", f"OTk5OTk5.{token}", "é.é",
                  f"{'OTk5' * 20}.{token}", "AA==.x", "....", f"{code}x"):  # fmt: skip
        response = api.post(AT + "password-reset/confirm/", {"code": wrong, "new_password": OTHER})
        assert faults_in(response, 422) == {("/code", "unknown_code")}, wrong
    walker.is_active = False
    walker.save()
    response = api.post(AT + "password-reset/confirm/", {"code": code, "new_password": OTHER})
    assert faults_in(response, 422) == {("/code", "unknown_code")}


def test_a_code_ends_by_time_by_signing_in_and_by_another_address(walker: Any, api: APIClient, settings: Any) -> None:
    for end in ("time", "sign in", "address"):
        code = ask_for_code(api)
        if end == "time":
            settings.PASSWORD_RESET_TIMEOUT = -1
        elif end == "sign in":
            session_of("walker", PASSWORD)
        else:
            get_user_model().objects.update(email="moved@creek.example")
        response = api.post(AT + "password-reset/confirm/", {"code": code, "new_password": OTHER})
        assert faults_in(response, 422) == {("/code", "unknown_code")}, end
        settings.PASSWORD_RESET_TIMEOUT = 3600
    session_of("walker", PASSWORD)


def test_mailboxes_are_not_filled_and_addresses_wait(walker: Any, api: APIClient, settings: Any) -> None:
    settings.PINPOOL = settings.PINPOOL | {"RESET_MAILS_PER_ACCOUNT": (2, 3600), "RESET_TRIES_PER_ADDRESS": (5, 3600)}
    body = {"email": "walker@creek.example"}
    told = [api.post(AT + "password-reset/", body) for _ in range(6)]
    assert [response.status_code for response in told] == [200] * 5 + [429]
    assert int(told[-1]["Retry-After"]) >= 1
    assert len(outbox.outbox) == 2


def test_who_gets_no_e_mail(walker: Any, api: APIClient) -> None:
    AccountFactory.create(username="asleep", email="asleep@creek.example", is_active=False, password=walker.password)
    AccountFactory.create(username="unusable", email="unusable@creek.example", password=make_password(None))
    AccountFactory.create(username="silent", email="", password=walker.password)
    for email in ("asleep@creek.example", "unusable@creek.example", "nobody@creek.example"):
        assert api.post(AT + "password-reset/", {"email": email}).status_code == 200
    assert outbox.outbox == []


def test_what_is_done_later_is_done_and_harms_nobody(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    desk = ThreadPoolExecutor(1)
    monkeypatch.setattr(mail, "_desk", desk)
    monkeypatch.setattr(mail, "PAUSE_S", 0.0)
    done: list[str] = []
    later(lambda: done.append("first") or 1 / 0)  # type: ignore[func-returns-value]
    later(lambda: done.append("second"))
    desk.shutdown(wait=True)
    assert done == ["first", "second"]
    assert "could not be sent" in caplog.text
