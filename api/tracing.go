package api

import (
	"github.com/labstack/echo/v4"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
)

// Trace has a span written for each answer, named by the pattern of its route: an
// address may be a secret link, so it is in no span, and neither is a header or a
// body. Call it before the server is used.
func (s *Server) Trace(provider trace.TracerProvider) {
	tracer := provider.Tracer("chairblock/api")
	s.echo.Use(func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			r := c.Request()
			if streaming(r) { // it would last for hours
				return next(c)
			}
			ctx := propagation.TraceContext{}.Extract(r.Context(), propagation.HeaderCarrier(r.Header))
			ctx, span := tracer.Start(ctx, r.Method+" "+c.Path(), trace.WithSpanKind(trace.SpanKindServer),
				trace.WithAttributes(attribute.String("http.request.method", r.Method), attribute.String("http.route", c.Path())))
			defer span.End()
			c.SetRequest(r.WithContext(ctx))
			err := next(c)
			if err != nil {
				c.Error(err) // writes the answer, so that its status is known
			}
			status := c.Response().Status
			span.SetAttributes(attribute.Int("http.response.status_code", status))
			if status >= 500 {
				span.SetStatus(codes.Error, "") // no words: they could be anybody's
			}
			return nil
		}
	})
}
