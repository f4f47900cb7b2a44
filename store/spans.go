package store

import (
	"context"

	"github.com/exaring/otelpgx"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"go.opentelemetry.io/otel/trace"
)

// tracer makes spans of what the driver does. Of an error they hold its code alone: what
// the driver says of a connection names the database, its role and its address, and what
// the database says of a value repeats it.
type tracer struct{ *otelpgx.Tracer }

func newTracer(provider trace.TracerProvider) tracer {
	return tracer{otelpgx.NewTracer(otelpgx.WithTracerProvider(provider), otelpgx.WithDisableConnectionDetailsInAttributes())}
}

// wordless is an error that says its code, see codeOf, and is otherwise what it was.
type wordless struct{ err error }

// Error is the code.
func (w wordless) Error() string { return codeOf(w.err) }

// Unwrap keeps what is looked for in errors: that no row was found, and the database's code.
func (w wordless) Unwrap() error { return w.err }

// withoutWords is nil for nil.
func withoutWords(err error) error {
	if err == nil {
		return nil
	}
	return wordless{err}
}

// TraceAcquireEnd ends the wait for a connection.
func (t tracer) TraceAcquireEnd(ctx context.Context, pool *pgxpool.Pool, d pgxpool.TraceAcquireEndData) {
	d.Err = withoutWords(d.Err)
	t.Tracer.TraceAcquireEnd(ctx, pool, d)
}

// TraceConnectEnd ends the making of a connection.
func (t tracer) TraceConnectEnd(ctx context.Context, d pgx.TraceConnectEndData) {
	d.Err = withoutWords(d.Err)
	t.Tracer.TraceConnectEnd(ctx, d)
}

// TraceQueryEnd ends a statement.
func (t tracer) TraceQueryEnd(ctx context.Context, conn *pgx.Conn, d pgx.TraceQueryEndData) {
	d.Err = withoutWords(d.Err)
	t.Tracer.TraceQueryEnd(ctx, conn, d)
}

// TraceCopyFromEnd ends a copy.
func (t tracer) TraceCopyFromEnd(ctx context.Context, conn *pgx.Conn, d pgx.TraceCopyFromEndData) {
	d.Err = withoutWords(d.Err)
	t.Tracer.TraceCopyFromEnd(ctx, conn, d)
}

// TraceBatchQuery tells of a statement of a batch.
func (t tracer) TraceBatchQuery(ctx context.Context, conn *pgx.Conn, d pgx.TraceBatchQueryData) {
	d.Err = withoutWords(d.Err)
	t.Tracer.TraceBatchQuery(ctx, conn, d)
}

// TraceBatchEnd ends a batch.
func (t tracer) TraceBatchEnd(ctx context.Context, conn *pgx.Conn, d pgx.TraceBatchEndData) {
	d.Err = withoutWords(d.Err)
	t.Tracer.TraceBatchEnd(ctx, conn, d)
}

// TracePrepareEnd ends the preparing of a statement.
func (t tracer) TracePrepareEnd(ctx context.Context, conn *pgx.Conn, d pgx.TracePrepareEndData) {
	d.Err = withoutWords(d.Err)
	t.Tracer.TracePrepareEnd(ctx, conn, d)
}
