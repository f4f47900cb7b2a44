// Package metrics counts what the service does, in the text format of Prometheus.
// No label holds anything about anybody: routes are patterns, never addresses.
package metrics

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Metrics is what is counted in one process. It is safe for use by many goroutines.
type Metrics struct {
	registry  *prometheus.Registry
	requests  *prometheus.CounterVec
	took      *prometheus.HistogramVec
	happened  *prometheus.CounterVec
	feedReads *prometheus.CounterVec
	searches  *prometheus.HistogramVec
}

// Bounds of the histograms in seconds: from a page that is quick (a few
// milliseconds) to the longest that a request may take (judgement).
var bounds = []float64{.001, .0025, .005, .01, .02, .05, .1, .2, .5, 1, 2, 5, 10, 30}

// New makes empty ones, beside those of the Go runtime and the process.
func New() *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "chairblock_requests_total",
			Help: "Requests that were answered, by the pattern of their route, method and status."}, []string{"route", "method", "status"}),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "chairblock_request_seconds",
			Help: "How long answers took, streams left out, by the pattern of the route.", Buckets: bounds}, []string{"route"}),
		happened: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "chairblock_happened_total",
			Help: "What was committed in the salons: visits booked, pencilled, lapsed, moved, cancelled and so on, messages by what became of them; taken: times that were refused because somebody else has them."}, []string{"what"}),
		feedReads: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "chairblock_calendar_reads_total",
			Help: "Readings of calendar links: whole, unchanged (304) or unknown."}, []string{"answer"}),
		searches: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "chairblock_search_seconds",
			Help: "How long looking for openings took, reading included.", Buckets: bounds}, []string{"what"}),
	}
	m.registry.MustRegister(m.requests, m.took, m.happened, m.feedReads, m.searches,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Request counts an answer. route is a pattern, "" for an address that nothing
// answers; took is negative for streams, whose length says nothing.
func (m *Metrics) Request(route, method string, status int, took time.Duration) {
	if route == "" {
		route = "none"
	}
	switch method { // anybody can send any word
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
	default:
		method = "other"
	}
	m.requests.WithLabelValues(route, method, strconv.Itoa(status)).Inc()
	if took >= 0 {
		m.took.WithLabelValues(route).Observe(took.Seconds())
	}
}

// Happened counts what was committed.
func (m *Metrics) Happened(what string, n int) { m.happened.WithLabelValues(what).Add(float64(n)) }

// FeedRead counts the reading of a calendar link.
func (m *Metrics) FeedRead(answer string) { m.feedReads.WithLabelValues(answer).Inc() }

// Searched notes how long a search took.
func (m *Metrics) Searched(what string, took time.Duration) {
	m.searches.WithLabelValues(what).Observe(took.Seconds())
}

// Level adds a value that is asked for at each reading; its name gets the prefix
// chairblock_.
func (m *Metrics) Level(name, help string, value func() float64) {
	m.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "chairblock_" + name, Help: help}, value))
}

// Handler answers readings. It is not to be reached from outside.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{})
}
