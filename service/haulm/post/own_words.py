"""What a person wrote in a mail, with the quoted letter and the signature taken away as far as they can be told."""

from email.message import EmailMessage

from bs4 import BeautifulSoup
from mailparser_reply import EmailReplyParser

LONGEST_HTML = 64 * 1024  # letters; unclosed comments take the square of their number to read


def own_lines(message: EmailMessage) -> str:
    """What a person wrote: the plain text, else the words of the HTML; quoted letters and the signature taken away."""
    part = message.get_body(("plain", "html"))
    if part is None:
        return ""
    try:
        text = str(part.get_content())
    except (LookupError, UnicodeError):
        text = bytes(part.get_payload(decode=True) or b"").decode("utf-8", "replace")
    if part.get_content_subtype() == "html":
        soup = BeautifulSoup(text[:LONGEST_HTML], "html.parser")
        for quoted in soup(["blockquote", "style", "script"]):
            quoted.decompose()
        text = soup.get_text("\n")
    reply = EmailReplyParser(languages=["en"]).parse_reply(text=text) or ""
    return "\n".join(line for line in reply.splitlines() if not line.lstrip().startswith(">"))
