-- +goose Up
-- What the price of a service follows (empty: price_cents for everybody), and
-- which products it takes: objects with a product_id and, where the hair does
-- not say how much, ml.
ALTER TABLE service_version
    ADD COLUMN price_rule jsonb NOT NULL DEFAULT '{}',
    ADD COLUMN products   jsonb NOT NULL DEFAULT '[]';

-- A product in one strength. facts are what the maker says of it, as far as the
-- salon has copied it from the label. Rows stay when a product is used no more.
CREATE TABLE product (
    salon_id   text NOT NULL REFERENCES salon ON DELETE CASCADE,
    product_id text NOT NULL,
    name       text NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    kind       text NOT NULL CHECK (kind IN ('solution', 'neutralizer', 'other')),
    strength   text NOT NULL DEFAULT '' CHECK (length(strength) <= 40),
    pack_ml    integer CHECK (pack_ml BETWEEN 1 AND 20000),
    cost_cents bigint CHECK (cost_cents BETWEEN 0 AND 100000000), -- of a pack
    facts      jsonb NOT NULL DEFAULT '{}',
    on_hand_ml integer NOT NULL DEFAULT 0, -- the sum of what came and went, so that nobody has to add it up
    active     boolean NOT NULL DEFAULT true,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, product_id),
    CONSTRAINT product_strength CHECK (kind = 'other' OR strength <> '')
);
CREATE UNIQUE INDEX product_once ON product (salon_id, kind, lower(name), lower(strength)) WHERE active;

-- What a visit will take, in whole ml, from when it was booked: reserved as long
-- as the visit is to come or going on.
CREATE TABLE visit_product (
    salon_id        text NOT NULL,
    visit_id        text NOT NULL,
    ordinal         smallint NOT NULL,
    service_ordinal smallint NOT NULL,
    product_id      text NOT NULL,
    ml              integer NOT NULL CHECK (ml BETWEEN 1 AND 20000),
    approved_by     text NOT NULL DEFAULT '', -- who said yes to another product than the service's
    instead_of      text,                     -- that product
    PRIMARY KEY (salon_id, visit_id, ordinal),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    FOREIGN KEY (salon_id, product_id) REFERENCES product,
    FOREIGN KEY (salon_id, instead_of) REFERENCES product (salon_id, product_id)
);
CREATE INDEX visit_product_by_product ON visit_product (salon_id, product_id);
CREATE INDEX visit_open ON visit (salon_id, starts_at, visit_id) WHERE state IN ('booked', 'arrived', 'under_way');

-- What came and went, in whole ml; never updated. counted_ml is what somebody counted, from which the change follows.
CREATE TABLE stock_movement (
    salon_id    text NOT NULL,
    movement_id text NOT NULL,
    product_id  text NOT NULL,
    kind        text NOT NULL CHECK (kind IN ('received', 'used', 'counted', 'wasted')),
    change_ml   integer NOT NULL CHECK (abs(change_ml) <= 10000000),
    counted_ml  integer CHECK (counted_ml BETWEEN 0 AND 10000000),
    visit_id    text,
    note        text NOT NULL DEFAULT '' CHECK (length(note) <= 200),
    noted_at    timestamptz NOT NULL DEFAULT now(),
    noted_by    text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, movement_id),
    FOREIGN KEY (salon_id, product_id) REFERENCES product ON DELETE CASCADE,
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    CONSTRAINT stock_movement_counted CHECK ((kind = 'counted') = (counted_ml IS NOT NULL))
);
CREATE INDEX stock_movement_by_product ON stock_movement (salon_id, product_id, movement_id DESC);
CREATE INDEX stock_movement_by_visit ON stock_movement (salon_id, visit_id) WHERE visit_id IS NOT NULL;

-- A price that was promised: what was asked, and the lines of the answer.
CREATE TABLE quote (
    salon_id      text NOT NULL REFERENCES salon ON DELETE CASCADE,
    quote_id      text NOT NULL,
    client_id     text,
    request       jsonb NOT NULL,
    answer        jsonb NOT NULL,
    total_cents   bigint NOT NULL CHECK (total_cents BETWEEN 0 AND 100000000),
    deposit_cents bigint NOT NULL CHECK (deposit_cents BETWEEN 0 AND total_cents),
    valid_until   timestamptz NOT NULL,
    created_at    timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, quote_id),
    FOREIGN KEY (salon_id, client_id) REFERENCES client ON DELETE CASCADE
);
CREATE INDEX quote_by_client ON quote (salon_id, client_id, quote_id DESC);

ALTER TABLE visit ADD COLUMN quote_id text,
    ADD CONSTRAINT visit_quote FOREIGN KEY (salon_id, quote_id) REFERENCES quote;

-- What was noted of the money of a visit, in the currency's minor units; never
-- updated and nothing is charged by it. A wrong entry is taken back by another.
CREATE TABLE money_entry (
    salon_id        text NOT NULL,
    entry_id        text NOT NULL,
    visit_id        text NOT NULL,
    kind            text NOT NULL CHECK (kind IN ('deposit_asked', 'received', 'carried_over', 'returned', 'kept', 'waived',
                                                  'goodwill', 'voucher', 'price_changed', 'taken_back')),
    amount_cents    bigint CHECK (amount_cents BETWEEN 0 AND 100000000),
    was_cents       bigint,   -- the price before it was changed
    minutes         smallint CHECK (minutes BETWEEN 1 AND 600), -- of goodwill
    service_ordinal smallint, -- whose price was changed
    how             text NOT NULL DEFAULT '' CHECK (how IN ('', 'cash', 'card', 'transfer', 'voucher', 'other')),
    due_at          timestamptz, -- by when a deposit is asked
    to_visit_id     text,     -- where it was carried over to
    reverses        text,     -- the entry that is taken back
    who             text NOT NULL DEFAULT '' CHECK (length(who) <= 80), -- who waived
    note            text NOT NULL DEFAULT '' CHECK (length(note) <= 500),
    noted_at        timestamptz NOT NULL DEFAULT now(),
    noted_by        text NOT NULL DEFAULT '',
    PRIMARY KEY (salon_id, entry_id),
    FOREIGN KEY (salon_id, visit_id) REFERENCES visit ON DELETE CASCADE,
    FOREIGN KEY (salon_id, to_visit_id) REFERENCES visit (salon_id, visit_id) ON DELETE CASCADE,
    FOREIGN KEY (salon_id, reverses) REFERENCES money_entry (salon_id, entry_id) ON DELETE CASCADE,
    CONSTRAINT money_entry_once UNIQUE (salon_id, reverses)
);
CREATE INDEX money_entry_by_visit ON money_entry (salon_id, visit_id, entry_id);
CREATE INDEX money_entry_by_target ON money_entry (salon_id, to_visit_id) WHERE to_visit_id IS NOT NULL;

-- +goose Down
DROP TABLE money_entry;
DROP INDEX visit_open;
ALTER TABLE visit DROP CONSTRAINT visit_quote, DROP COLUMN quote_id;
DROP TABLE quote, stock_movement, visit_product, product;
ALTER TABLE service_version DROP COLUMN price_rule, DROP COLUMN products;
