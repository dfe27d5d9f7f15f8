"""Every URL about who comes in and what was done; `webapp.addresses` has them with all others."""

from urllib.parse import urlencode

PROVIDER = "/log-in/provider"
PROVIDER_BACK = "/log-in/provider/back"


def ask_provider(after: str = "/") -> str:
    """Sends the browser to the OpenID Connect provider; `after` is where one wanted to go."""
    return PROVIDER if after == "/" else f"{PROVIDER}?{urlencode({'after': after})}"


def account() -> str:
    """One's own name, password and tokens."""
    return "/account"


def change_password() -> str:
    """Takes another password of one's own."""
    return f"{account()}/password"


def sign_out_everywhere() -> str:
    """Ends every session of one's own."""
    return f"{account()}/sign-out-everywhere"


def make_token() -> str:
    """Makes a token for scripts."""
    return f"{account()}/tokens"


def revoke_token(token_id: int) -> str:
    """Ends a token of one's own."""
    return f"{make_token()}/{token_id}/revoke"


def users() -> str:
    """Who may come in, and their tokens."""
    return "/users"


def change_user() -> str:
    """Takes another role or password of a user, or lets them go."""
    return f"{users()}/change"


def revoke_any_token(token_id: int) -> str:
    """Ends a token of anybody."""
    return f"{users()}/tokens/{token_id}/revoke"


def record(query: str = "") -> str:
    """Who did what, when and from where."""
    return "/record" + (f"?{query}" if query else "")


def record_lines() -> str:
    """The same, whole, as JSON lines."""
    return "/record.jsonl"
