"""E-mail to accounts, written and sent after the answer, so that nobody can tell from it whether there was any."""

import logging
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.tokens import default_token_generator
from django.core.mail import send_mail
from django.db import connections
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from rest_framework.exceptions import Throttled

from pinpool.accounts.throttles import count
from pinpool.conf import setting

_desk = ThreadPoolExecutor(max_workers=4, thread_name_prefix="pinpool-mail")

#: Seconds until work begins: by then the answer is on its way, and cannot be held up by what is done for it.
PAUSE_S = 0.5

RESET = """Somebody, we hope you, asked for a new password for the account “{name}” of {site}.

{how}

It works once, for {hours:.0f} hours. If you did not ask, do nothing: your password stays as it is.
"""


def later(work: Callable[[], None]) -> None:
    """Do `work` in another thread; what a killed server had not yet sent has to be asked for again."""
    _desk.submit(_work, work)


def _work(work: Callable[[], None]) -> None:
    time.sleep(PAUSE_S)
    try:
        work()
    except Exception:
        logging.getLogger(__name__).exception("An e-mail could not be sent.")
    finally:
        connections.close_all()


def send_reset_codes(email: str) -> None:
    """Send a code to each account of that address, at the address it is stored with; nothing where there is none."""
    users = get_user_model()
    wanted = {f"{users.get_email_field_name()}__iexact": email, "is_active": True}
    for user in users._default_manager.filter(**wanted):
        with suppress(Throttled):
            if user.has_usable_password():
                count("RESET_MAILS_PER_ACCOUNT", str(user.pk))
                _send_reset_code(user)


def reset_code(user: Any) -> str:
    """A code that sets a new password once; it holds until then, or until the account is signed in to."""
    return f"{urlsafe_base64_encode(force_bytes(user.pk))}.{default_token_generator.make_token(user)}"


def _send_reset_code(user: Any) -> None:
    code, page = reset_code(user), setting("RESET_PAGE")
    how = f"Open {page.format(code=code)}" if page else f"The code for it: {code}"
    hours = settings.PASSWORD_RESET_TIMEOUT / 3600
    text = RESET.format(name=user.get_username(), site=setting("SITE_NAME"), how=how, hours=hours)
    address = getattr(user, user.get_email_field_name())
    send_mail(f"A new password for {setting('SITE_NAME')}", text, None, [address])
