-- +goose Up
-- What clients ask for on their own pages waits for the desk as messages do.
CREATE TRIGGER say_added AFTER INSERT ON client_request REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_salon('message');
CREATE TRIGGER say_changed AFTER UPDATE ON client_request REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION say_salon('message');

-- +goose Down
DROP TRIGGER say_added ON client_request;
DROP TRIGGER say_changed ON client_request;
