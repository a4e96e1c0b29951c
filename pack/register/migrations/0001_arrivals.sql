-- A shipment that was received whole and from a trusted site, once for each number.
CREATE TABLE intake_shipment (
    study      TEXT    NOT NULL,
    site       TEXT    NOT NULL,
    number     INTEGER NOT NULL CHECK (number BETWEEN 0 AND 9999),
    bag        TEXT    NOT NULL, -- SHA-256 of what is inside
    archive    TEXT    NOT NULL, -- SHA-256 as on the packing slip
    state      TEXT    NOT NULL CHECK (state IN ('accepted', 'discrepancies', 'conflict')),
    station    TEXT    NOT NULL, -- that saw it first
    first_seen TEXT    NOT NULL, -- UTC, RFC 3339
    PRIMARY KEY (study, site, number)
);

-- The tubes of its records.
CREATE TABLE intake_tube (
    barcode TEXT    NOT NULL,
    study   TEXT    NOT NULL,
    site    TEXT    NOT NULL,
    number  INTEGER NOT NULL,
    PRIMARY KEY (barcode, study, site, number),
    FOREIGN KEY (study, site, number) REFERENCES intake_shipment (study, site, number)
);

-- Everything that arrived under a number, also what was rejected; never changed.
CREATE TABLE intake_arrival (
    study    TEXT    NOT NULL,
    site     TEXT    NOT NULL,
    number   INTEGER NOT NULL,
    nth      INTEGER NOT NULL, -- under this number, from 1
    kind     TEXT    NOT NULL CHECK (kind IN ('new', 'repeat', 'conflict', 'rejected')),
    decision TEXT    NOT NULL CHECK (decision IN ('accepted', 'discrepancies', 'rejected')),
    bag      TEXT    NOT NULL, -- '' when rejected
    archive  TEXT    NOT NULL,
    station  TEXT    NOT NULL,
    seen_at  TEXT    NOT NULL, -- UTC, RFC 3339
    PRIMARY KEY (study, site, number, nth)
);
