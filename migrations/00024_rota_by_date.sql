-- +goose Up
-- Hours of a person that hold instead of her week (staff_hours): weeks that take
-- turns between two dates, and single days. A single day comes before the weeks of
-- its date, these come before staff_hours, and nothing is added up. All dates are
-- those of the salon's calendar; clock times are meant as in staff_hours.

CREATE TABLE staff_rota (
    salon_id   text NOT NULL,
    rota_id    text NOT NULL,
    staff_id   text NOT NULL,
    first_date date NOT NULL,
    last_date  date CHECK (last_date >= first_date), -- included; null: until further notice
    weeks      smallint NOT NULL CHECK (weeks BETWEEN 1 AND 4), -- that take turns
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, rota_id),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE,
    -- on one date one of them holds at most
    CONSTRAINT staff_rota_apart EXCLUDE USING gist
        (salon_id WITH =, staff_id WITH =, daterange(first_date, last_date, '[]') WITH &&)
);

-- week 1 is that, Monday to Sunday, in which first_date lies.
CREATE TABLE staff_rota_hours (
    salon_id text NOT NULL,
    rota_id  text NOT NULL,
    week     smallint NOT NULL CHECK (week BETWEEN 1 AND 4),
    weekday  smallint NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    kind     text NOT NULL CHECK (kind IN ('work', 'break')),
    starts   smallint NOT NULL CHECK (starts BETWEEN 0 AND 1439),
    ends     smallint NOT NULL CHECK (ends > starts AND ends <= 2880),
    PRIMARY KEY (salon_id, rota_id, week, weekday, kind, starts),
    FOREIGN KEY (salon_id, rota_id) REFERENCES staff_rota ON DELETE CASCADE
);

-- A day without hours of work is one on which the person does not work.
CREATE TABLE staff_day (
    salon_id   text NOT NULL,
    staff_id   text NOT NULL,
    day        date NOT NULL,
    version    bigint NOT NULL DEFAULT 1,
    created_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (salon_id, staff_id, day),
    FOREIGN KEY (salon_id, staff_id) REFERENCES staff ON DELETE CASCADE
);

CREATE TABLE staff_day_hours (
    salon_id text NOT NULL,
    staff_id text NOT NULL,
    day      date NOT NULL,
    kind     text NOT NULL CHECK (kind IN ('work', 'break')),
    starts   smallint NOT NULL CHECK (starts BETWEEN 0 AND 1439),
    ends     smallint NOT NULL CHECK (ends > starts AND ends <= 2880),
    PRIMARY KEY (salon_id, staff_id, day, kind, starts),
    FOREIGN KEY (salon_id, staff_id, day) REFERENCES staff_day ON DELETE CASCADE
);

-- As for the other tables of the rota: whoever keeps free time in memory is told,
-- and so is whoever watches the salon.
-- +goose StatementBegin
DO $$
DECLARE rota text;
BEGIN
    FOREACH rota IN ARRAY ARRAY['staff_rota', 'staff_rota_hours', 'staff_day', 'staff_day_hours'] LOOP
        EXECUTE format('CREATE TRIGGER %1$s_added AFTER INSERT ON %1$s REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change()', rota);
        EXECUTE format('CREATE TRIGGER %1$s_changed AFTER UPDATE ON %1$s REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change()', rota);
        EXECUTE format('CREATE TRIGGER %1$s_gone AFTER DELETE ON %1$s REFERENCING OLD TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION note_salon_change()', rota);
        EXECUTE format('CREATE TRIGGER say_added AFTER INSERT ON %I REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION say_salon(''day'')', rota);
        EXECUTE format('CREATE TRIGGER say_changed AFTER UPDATE ON %I REFERENCING NEW TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION say_salon(''day'')', rota);
        EXECUTE format('CREATE TRIGGER say_gone AFTER DELETE ON %I REFERENCING OLD TABLE AS changed
            FOR EACH STATEMENT EXECUTE FUNCTION say_salon(''day'')', rota);
    END LOOP;
END $$;
-- +goose StatementEnd

-- +goose Down
DROP TABLE staff_day_hours, staff_day, staff_rota_hours, staff_rota;
