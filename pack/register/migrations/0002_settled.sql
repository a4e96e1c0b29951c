-- What a person settled: a number that will never come, or an arrival that objects
-- to something; never changed. The last one of a number counts, unless something
-- new came under the number since.
CREATE TABLE intake_settled (
    study      TEXT    NOT NULL,
    site       TEXT    NOT NULL,
    number     INTEGER NOT NULL CHECK (number BETWEEN 1 AND 9999),
    nth        INTEGER NOT NULL, -- under this number, from 1
    state      TEXT    NOT NULL CHECK (state IN ('missing', 'discrepancies', 'rejected')), -- until then
    arrivals   INTEGER NOT NULL, -- under this number, until then
    why        TEXT    NOT NULL,
    station    TEXT    NOT NULL,
    settled_at TEXT    NOT NULL, -- UTC, RFC 3339
    PRIMARY KEY (study, site, number, nth)
);
