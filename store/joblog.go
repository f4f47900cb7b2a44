package store

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
)

// jobLogger is for what the job queue has to say to whoever runs the service:
// warnings and errors, as text without the address of the database. While the database
// is away, each place tells of it at growing distance.
func jobLogger(to io.Writer, a *away) *slog.Logger {
	return slog.New(quietStop{slog.NewTextHandler(to, &slog.HandlerOptions{Level: slog.LevelWarn}), a})
}

// quietStop keeps quiet about statements that were cancelled together with the work
// they belong to, because the service stops or whoever asked has hung up: they are
// rolled back, and the queue calls them errors all the same. Whatever else goes
// wrong at such a moment is still told.
type quietStop struct {
	slog.Handler
	away *away
}

// Handle passes r on unless it tells only of such a statement, or again of a database
// that is away.
func (h quietStop) Handle(ctx context.Context, r slog.Record) error {
	if errors.Is(ctx.Err(), context.Canceled) && saysCanceled(r) {
		return nil
	}
	told, place, lost := slog.NewRecord(r.Time, r.Level, r.Message, r.PC), r.Message, false
	r.Attrs(func(a slog.Attr) bool {
		b, hidden := withoutAddress(a)
		told.AddAttrs(b)
		lost = lost || hidden
		if a.Key == "queue" {
			place += " " + a.Value.String()
		}
		return true
	})
	if lost {
		yes, untold := h.away.tell(place)
		if !yes {
			return nil
		}
		if untold > 0 {
			told.AddAttrs(slog.Int("untold", untold))
		}
	}
	return h.Handler.Handle(ctx, told)
}

// connecting begins what the driver and the network say of a connection: it goes on with
// the address of the database, its name and the role.
var connecting = []string{"failed to connect to", "dial ", "lookup ", "read tcp", "write tcp", "read unix", "write unix"}

// withoutAddress leaves out of a text what tells the address of the database, and reports
// whether it did.
func withoutAddress(a slog.Attr) (out slog.Attr, hidden bool) {
	text := a.Value.String()
	end := len(text)
	for _, words := range connecting {
		if i := strings.Index(text[:end], words); i >= 0 {
			end = i
		}
	}
	if end == len(text) {
		return a, false
	}
	return slog.String(a.Key, text[:end]+"no connection to the database"), true
}

// WithAttrs keeps the rule.
func (h quietStop) WithAttrs(a []slog.Attr) slog.Handler {
	return quietStop{h.Handler.WithAttrs(a), h.away}
}

// WithGroup keeps the rule.
func (h quietStop) WithGroup(name string) slog.Handler {
	return quietStop{h.Handler.WithGroup(name), h.away}
}

func saysCanceled(r slog.Record) bool {
	found := false
	r.Attrs(func(a slog.Attr) bool {
		found = strings.Contains(a.Value.String(), context.Canceled.Error())
		return !found
	})
	return found
}
