"""Known answers for package rederive, computed from the format description with
Python's standard library alone: hmac, hashlib, unicodedata, datetime, fractions.

    python3 known.py > known.json
"""
import datetime, fractions, hashlib, hmac, json, math, random, unicodedata

B32 = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
A36 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def hkdf(key, info):  # RFC 5869, SHA-256, no salt, 32 bytes: one block
    prk = hmac.new(bytes(32), key, hashlib.sha256).digest()
    return hmac.new(prk, info + b"\x01", hashlib.sha256).digest()


def canonical(s):
    for _ in range(8):
        t = unicodedata.normalize("NFKC", s).casefold()
        t = "".join(c for c in t if unicodedata.category(c)[0] in "LMN")
        if t == s:
            return t
        s = t
    return s


def check(body):  # ISO/IEC 7064 MOD 37,36: the character that makes the whole sum 1
    for c in A36:
        p = 36
        for d in body:
            p = (p + A36.index(d)) % 36 or 36
            p = p * 2 % 37
        if (p + A36.index(c)) % 36 == 1:
            return c


def mac(key, purpose, study, ident):
    return hmac.new(hkdf(key, f"outbreath/1/{purpose}/{study}".encode()), canonical(ident).encode(),
                    hashlib.sha256).digest()


def pseudonym(digest):
    n = int.from_bytes(digest[:10], "big")
    body = "".join(B32[n >> (75 - 5 * i) & 31] for i in range(16))
    return "-".join(body[i:i + 4] for i in range(0, 16, 4)) + "-" + check(body)


def names():
    ids = ["LARK2-WEIR-001", "lark2 weir 001", "Stra\u00dfe 7", "\uff21\uff22\uff23\u00b9", "\u0130x", "e\u0301-1",
           "K-0017", "17", "\u03a3\u03c2\u03c3", "\ufb01x9", "op-kestrel", "A" * 64]
    for key in [bytes(i * 7 % 256 for i in range(32)), hashlib.sha256(b"x").digest()]:
        for study in ["LARK-2"]:
            for ident in ids:
                for purpose in ["subject", "session", "operator", "kit"]:
                    yield {"key": key.hex(), "study": study, "purpose": purpose, "id": ident,
                           "canonical": canonical(ident), "pseudonym": pseudonym(mac(key, purpose, study, ident))}
                yield {"key": key.hex(), "study": study, "purpose": "shift", "id": ident,
                       "canonical": canonical(ident),
                       "shift": 1 + int.from_bytes(mac(key, "shift", study, ident)[:8], "big") % 364}


def dates(r):
    first, last = datetime.date(1, 1, 1).toordinal(), datetime.date(9999, 12, 31).toordinal()
    some = [datetime.date(2024, 2, 29), datetime.date(1900, 3, 1), datetime.date(2000, 3, 1), datetime.date(2026, 1, 1),
            datetime.date(1, 12, 31), datetime.date(9999, 12, 31), datetime.date(2100, 3, 1)]
    some += [datetime.date.fromordinal(r.randint(first + 364, last)) for _ in range(200)]
    for d in some:
        days = r.randint(1, 364)
        if d.toordinal() - days >= first:
            yield {"date": d.isoformat(), "days": days, "moved": (d - datetime.timedelta(days)).isoformat(),
                   "number": d.toordinal() - 1}


def half_away(x):
    return int(math.floor(abs(x) + fractions.Fraction(1, 2))) * (1 if x >= 0 else -1)


def elapsed(r):
    for _ in range(200):
        def one(base):
            t = base + datetime.timedelta(seconds=r.randint(-90000, 90000), milliseconds=r.choice([0, 0, 499, 500, 501]))
            zone = datetime.timezone(datetime.timedelta(minutes=r.choice([-300, -240, 0, 60, 120, 345])))
            return t.replace(tzinfo=datetime.timezone.utc).astimezone(zone)
        base = datetime.datetime(2026, 3, 2, 9, 0)
        a, b = one(base), one(base)
        s = fractions.Fraction((b - a) // datetime.timedelta(microseconds=1), 10**6)
        yield {"start": a.isoformat(timespec="milliseconds"), "at": b.isoformat(timespec="milliseconds"),
               "elapsed": half_away(s)}


def ages(r):
    for _ in range(200):
        b = datetime.date(r.randint(1920, 2020), r.choice([1, 2, 2, 12]), r.choice([1, 28, 28, 20]))
        if r.random() < .1:
            b = datetime.date(r.choice([1932, 1936, 1996, 2000]), 2, 29)
        on = datetime.date(2026, r.choice([1, 2, 3, 12]), r.choice([1, 28, 20]))
        years = on.year - b.year - ((on.month, on.day) < (b.month, b.day))
        width = r.choice([1, 5, 7, 10, 50])
        low = years // width * width
        yield {"birth": b.isoformat(), "on": on.isoformat(), "width": width,
               "band": "90+" if years >= 90 else f"{low}-{min(low + width - 1, 89)}"}


def roundings(r):
    for _ in range(200):
        x = r.choice(["2.5", "-2.5", "0.4999", "172.5", "-7.5", "1e2", "12.5E1", "99.99999999999999999", "0", "-0.5"])
        if r.random() < .6:
            x = str(r.randint(-3000, 3000) / r.choice([1, 2, 4, 10]))
        width = r.choice([1, 2, 3, 5, 10, 100])
        yield {"number": x, "width": width, "rounded": str(half_away(fractions.Fraction(x) / width) * width)}


r = random.Random(20261201)
print(json.dumps({"names": list(names()), "dates": list(dates(r)), "elapsed": list(elapsed(r)), "ages": list(ages(r)),
                  "roundings": list(roundings(r))}, indent=0, ensure_ascii=True))
