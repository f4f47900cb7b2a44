package main

import (
	"context"
	"fmt"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
)

// Tracing says where spans go.
type Tracing struct {
	Endpoint string `name:"otlp-endpoint" env:"OTEL_EXPORTER_OTLP_ENDPOINT" placeholder:"URL" help:"Collector that spans are sent to by OTLP over HTTP, such as http://127.0.0.1:4318. Spans hold patterns of routes and texts of queries, never values. Left out: none are made."`
}

// provider makes spans until stop, or is nil when nobody wants them.
func (t Tracing) provider(ctx context.Context) (p *sdktrace.TracerProvider, stop func(), err error) {
	if t.Endpoint == "" {
		return nil, func() {}, nil
	}
	exporter, err := otlptracehttp.New(ctx, otlptracehttp.WithEndpointURL(t.Endpoint))
	if err != nil {
		return nil, nil, fmt.Errorf("--otlp-endpoint: %w", err)
	}
	p = sdktrace.NewTracerProvider(sdktrace.WithBatcher(exporter),
		sdktrace.WithResource(resource.NewSchemaless(attribute.String("service.name", "chairblock"))))
	return p, func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = p.Shutdown(ctx) // spans that nobody takes are no reason to stay
	}, nil
}
