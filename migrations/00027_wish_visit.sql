-- +goose Up
-- Which request on the waiting list a visit serves is asked whenever a pencilled
-- visit is booked.
CREATE INDEX wish_by_visit ON wish (salon_id, visit_id) WHERE visit_id IS NOT NULL;

-- +goose Down
DROP INDEX wish_by_visit;
