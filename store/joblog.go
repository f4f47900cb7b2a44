package store

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
)

// jobLogger is for what the job queue has to say to whoever runs the service:
// warnings and errors, as text without the address of the database.
func jobLogger(to io.Writer) *slog.Logger {
	return slog.New(quietStop{slog.NewTextHandler(to, &slog.HandlerOptions{Level: slog.LevelWarn})})
}

// quietStop keeps quiet about statements that were cancelled together with the work
// they belong to, because the service stops or whoever asked has hung up: they are
// rolled back, and the queue calls them errors all the same. Whatever else goes
// wrong at such a moment is still told.
type quietStop struct{ slog.Handler }

// Handle passes r on unless it tells only of such a statement.
func (h quietStop) Handle(ctx context.Context, r slog.Record) error {
	if errors.Is(ctx.Err(), context.Canceled) && saysCanceled(r) {
		return nil
	}
	told := slog.NewRecord(r.Time, r.Level, r.Message, r.PC)
	r.Attrs(func(a slog.Attr) bool {
		told.AddAttrs(withoutAddress(a))
		return true
	})
	return h.Handler.Handle(ctx, told)
}

// connecting begins what the driver and the network say of a connection: it goes on with
// the address of the database, its name and the role.
var connecting = []string{"failed to connect to", "dial ", "lookup ", "read tcp", "write tcp", "read unix", "write unix"}

// withoutAddress leaves out of a text what tells the address of the database.
func withoutAddress(a slog.Attr) slog.Attr {
	text := a.Value.String()
	end := len(text)
	for _, words := range connecting {
		if i := strings.Index(text[:end], words); i >= 0 {
			end = i
		}
	}
	if end == len(text) {
		return a
	}
	return slog.String(a.Key, text[:end]+"no connection to the database")
}

// WithAttrs keeps the rule.
func (h quietStop) WithAttrs(a []slog.Attr) slog.Handler { return quietStop{h.Handler.WithAttrs(a)} }

// WithGroup keeps the rule.
func (h quietStop) WithGroup(name string) slog.Handler { return quietStop{h.Handler.WithGroup(name)} }

func saysCanceled(r slog.Record) bool {
	found := false
	r.Attrs(func(a slog.Attr) bool {
		found = strings.Contains(a.Value.String(), context.Canceled.Error())
		return !found
	})
	return found
}
