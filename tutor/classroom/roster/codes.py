"""Codes that people read off paper and type: the code of a class's set, of a problem, of one member.

The 31 characters leave out those that are taken for one another (0 and O, 1, I and L). 31 is prime, so a problem's last
character, a sum weighted by place, catches every single wrong character and every two neighbours turned round.
"""

import hashlib
import hmac
import secrets

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"


def plain(text: str) -> str:
    """A code as typed, in capitals and without what stands between its characters."""
    return "".join(c for c in text.upper() if c.isalnum())


def new_set_code() -> str:
    """A random code for a set, such as 'KQ4-7MP'."""
    code = "".join(secrets.choice(ALPHABET) for _ in range(6))
    return f"{code[:3]}-{code[3:]}"


def new_problem_code() -> str:
    """A random code for a problem, such as '7KQ4-2P', its last character a check."""
    return _with_check("".join(secrets.choice(ALPHABET) for _ in range(5)))


def problem_code(text: str) -> str | None:
    """A problem's code as it is printed; None if a character is wrong or two are turned round."""
    code = plain(text)
    if len(code) != 6 or any(c not in ALPHABET for c in code):
        return None
    printed = _with_check(code[:5])
    return printed if plain(printed) == code else None


def set_code(text: str) -> str | None:
    """A set's code as it is printed; None if it cannot be one."""
    code = plain(text)
    return f"{code[:3]}-{code[3:]}" if len(code) == 6 and all(c in ALPHABET for c in code) else None


def new_secret() -> str:
    """What a member's personal code is made from: 128 random bits in hexadecimal digits."""
    return secrets.token_hex(16)


def personal_code(class_secret: str, members_secret: str) -> str:
    """What a member types on a further device, such as 'K7Q4-M2PX': from the class's secret and the member's own.

    It is kept nowhere; another secret of the member makes it another code.
    """
    digest = hmac.new(bytes.fromhex(class_secret), f"personal code {members_secret}".encode(), hashlib.sha256).digest()
    number = int.from_bytes(digest[:16], "big")
    code = ""
    for _ in range(8):
        number, digit = divmod(number, len(ALPHABET))
        code += ALPHABET[digit]
    return f"{code[:4]}-{code[4:]}"


def is_personal_code(text: str, class_secret: str, members_secret: str) -> bool:
    """Whether a text is a member's personal code; takes as long for any text."""
    return hmac.compare_digest(plain(text).encode(), plain(personal_code(class_secret, members_secret)).encode())


def _with_check(code: str) -> str:
    check = sum(weight * ALPHABET.index(c) for weight, c in enumerate(code, start=1)) % len(ALPHABET)
    return f"{code[:4]}-{code[4]}{ALPHABET[check]}"
