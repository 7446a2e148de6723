"""Put what went wrong with a server into the keeper's words, and judge what it means for the message."""

import re
import smtplib
import socket
import ssl

from gatewayd.notify.letter import Outcome

NO_ANSWER = "did not answer in time"
HUNG_UP = "hung up before it answered"
NOT_FOUND = "could not be found"
OTHER_NAME = "has a certificate for another name"
MAIL = "The mail server"
SERVICE = "The message service"

# Texts of the layers below (OpenSSL, the C library, urllib3) that stand in an exception's text; the first that fits
# wins. Each: pattern, words, can a repeat soon mend it not, can the message have left all the same.
_CAUSES: tuple[tuple[str, str, bool, bool], ...] = (
    (r"certificate has expired", "has a certificate that has expired", True, False),
    (r"[Hh]ostname mismatch|doesn't match|not valid for|IP address mismatch", OTHER_NAME, True, False),
    (r"(?i)CERTIFICATE_VERIFY_FAILED|certificate verify failed", "has a certificate that is not trusted", True, False),
    (r"STARTTLS", "offers no encryption, so nothing was sent", True, False),
    (r"getaddrinfo|Name or service|Temporary failure in name|NameResolution|gaierror", NOT_FOUND, False, False),
    (r"Connection refused|ECONNREFUSED", "is not taking connections", False, False),
    (r"(?i)ConnectTimeout|connect timeout|NewConnectionError.*timed out", NO_ANSWER, False, False),
    (r"NewConnectionError|No route|unreachable", "could not be reached", False, False),
    (r"(?i)timed out|timeout", NO_ANSWER, False, True),
    (r"(?i)unexpectedly closed|reset by peer|aborted|RemoteDisconnected|Broken pipe|EOF", HUNG_UP, False, True),
    (r"WRONG_VERSION_NUMBER|SSLError|\[SSL", "could not agree on encryption with us", False, True),
)
# OpenSSL's text where the other side answers in the clear: a mail server at a port for STARTTLS, tried with tls.
_IN_THE_CLEAR = "WRONG_VERSION_NUMBER"
_CODE = re.compile(r"\((\d{3}), ")


def mail_code(code: int) -> Outcome:
    """Judge an answer of a mail server that is a refusal (RFC 5321 4.2, RFC 4954 6); nothing has arrived then."""
    if code in {530, 534, 535, 538}:
        return Outcome(ok=False, error="The mail server refused the user name or the password.", hopeless=True)
    if code in {550, 551, 553}:
        return Outcome(ok=False, error="The mail server refused the address of the recipient.", hopeless=True)
    if code in {452, 552}:
        return Outcome(ok=False, error="The mail server says that there is no room for the message.")
    if code >= 500:
        return Outcome(ok=False, error="The mail server refused the message.", hopeless=True)
    return Outcome(ok=False, error="The mail server asked to try again later.")


def web_status(status: int, wait: int = 0) -> Outcome:
    """Judge an HTTP status that is no success. Refusals (4xx) end the message; a 5xx may come after it was taken."""
    if status in {401, 403}:
        return Outcome(ok=False, error="The message service refused the user, the password or the key.", hopeless=True)
    if status in {404, 405, 410}:
        text = "The message service does not know the address or the room."
        return Outcome(ok=False, error=text, hopeless=True)
    if status == 413:
        return Outcome(ok=False, error="The message service found the message too long.", hopeless=True)
    if status == 429:
        return Outcome(ok=False, error="The message service asked us to wait.", server_wait=wait)
    if status in {408, 425}:
        return Outcome(ok=False, error="The message service asked to try again later.")
    if 300 <= status < 400:
        text = "The message service has moved; give its new address."
        return Outcome(ok=False, error=text, hopeless=True)
    if status < 500:
        return Outcome(ok=False, error="The message service refused the message.", hopeless=True)
    return Outcome(ok=False, maybe_arrived=True, error="The message service has trouble of its own.")


def trouble(who: str, line: str, *, left: bool) -> Outcome:
    """Judge the text of an exception. `who` names the server; `left` says whether the message may have left us."""
    code = _CODE.search(line)
    if code and who == MAIL:
        return mail_code(int(code[1]))
    cause = line.partition("(Caused by")[2] or line  # what stands before it is the address, which may hold any word
    for pattern, words, hopeless, maybe in _CAUSES:
        if re.search(pattern, cause):
            more = "; try the other encryption (STARTTLS)" if who == MAIL and _IN_THE_CLEAR in cause else ""
            return Outcome(ok=False, maybe_arrived=maybe and left, error=f"{who} {words}{more}.", hopeless=hopeless)
    return Outcome(ok=False, maybe_arrived=left, error=f"{who} could not take the message.")


def mail_trouble(error: Exception, *, left: bool) -> Outcome:
    """Judge what smtplib raised."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        codes = [int(code) for code, _ in error.recipients.values()]
        code = codes[0] if codes else 550
        return mail_code(550 if code in {554, 555} else code)
    if isinstance(error, smtplib.SMTPResponseException):
        return (
            mail_code(int(error.smtp_code)) if error.smtp_code > 0 else trouble(MAIL, "unexpectedly closed", left=left)
        )
    if isinstance(error, smtplib.SMTPNotSupportedError):
        if "STARTTLS" in str(error):
            return trouble(MAIL, "STARTTLS", left=False)
        text = "The mail server does not take a password, or the address has letters that it cannot carry."
        return Outcome(ok=False, error=text, hopeless=True)
    if isinstance(error, UnicodeError):
        text = "The password or the address has letters that mail cannot carry."
        return Outcome(ok=False, error=text, hopeless=True)
    if isinstance(error, TimeoutError):
        return trouble(MAIL, "timed out", left=left)
    if isinstance(error, socket.gaierror):
        return trouble(MAIL, "gaierror", left=False)
    if isinstance(error, ssl.SSLCertVerificationError):
        return trouble(MAIL, str(error) + " CERTIFICATE_VERIFY_FAILED", left=False)
    return trouble(MAIL, f"{type(error).__name__} {error}", left=left)
