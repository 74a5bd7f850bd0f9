package main

import (
	"encoding/json"
	"net"
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// livePath tells of the robots that are being collected, on the pages' address and on the
// robots'.
const livePath = "/live.json"

// liveRoutes is what is served to robots, and to those who watch over the collector.
func liveRoutes(c *collector.Collector, robots func() []schemas.LiveRobot) http.Handler {
	mux := http.NewServeMux()
	mux.Handle(wire.Path, c)
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		h := c.Health()
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		if !h.OK {
			w.WriteHeader(http.StatusServiceUnavailable)
		}
		_ = json.NewEncoder(w).Encode(h) // the caller has gone
	})
	// What the signals are called is for this machine alone.
	mux.HandleFunc("GET "+livePath, func(w http.ResponseWriter, r *http.Request) {
		host, _, err := net.SplitHostPort(r.RemoteAddr)
		if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsLoopback() {
			http.Error(w, "only the machine that collects may ask this", http.StatusForbidden)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-store")
		_ = json.NewEncoder(w).Encode(map[string]any{"robots": robots()}) // the caller has gone
	})
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), liveMetrics{c})
	mux.Handle("GET /metrics", promhttp.HandlerFor(registry, promhttp.HandlerOpts{}))
	return mux
}

// liveMetrics reads the collector's counts when it is asked.
type liveMetrics struct{ c *collector.Collector }

type metric struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	read func(collector.Counts, collector.Health) float64
}

func counter(name, help string, read func(collector.Counts) int64) metric {
	return metric{
		prometheus.NewDesc("afterbell_"+name+"_total", help, nil, nil), prometheus.CounterValue,
		func(n collector.Counts, _ collector.Health) float64 { return float64(read(n)) },
	}
}

func gauge(name, help string, read func(collector.Health) float64) metric {
	return metric{
		prometheus.NewDesc("afterbell_"+name, help, nil, nil), prometheus.GaugeValue,
		func(_ collector.Counts, h collector.Health) float64 { return read(h) },
	}
}

var liveMetricList = []metric{
	counter("samples", "Samples accepted.", func(n collector.Counts) int64 { return n.Samples }),
	counter("batches", "Batches accepted.", func(n collector.Counts) int64 { return n.Batches }),
	counter("repeated_batches", "Batches that were there already.", func(n collector.Counts) int64 { return n.Repeats }),
	counter("gaps", "Batches refused because one before them was missing.", func(n collector.Counts) int64 { return n.Gaps }),
	counter("refused", "Connections and messages refused.", func(n collector.Counts) int64 { return n.Refused }),
	counter("seals", "Matches sealed, first and later seals.", func(n collector.Counts) int64 { return n.Seals }),
	counter("reseals", "Matches sealed again.", func(n collector.Counts) int64 { return n.Reseals }),
	counter("failed_seals", "Seals that failed and are tried again.", func(n collector.Counts) int64 { return n.FailedSeals }),
	gauge("journal_bytes", "Bytes of the journal on disk.", func(h collector.Health) float64 { return float64(h.JournalBytes) }),
	gauge("unsealed_bytes", "Bytes of samples that have no match folder yet.", func(h collector.Health) float64 { return float64(h.Unplaced) }),
	gauge("read_ahead_samples", "Samples in memory already for the match they will be in.", func(h collector.Health) float64 { return float64(h.Ahead) }),
	gauge("connections", "Open connections of robots.", func(h collector.Health) float64 { return float64(h.Connections) }),
	gauge("storage_ok", "1 while everything that comes can be kept.", func(h collector.Health) float64 {
		if h.OK {
			return 1
		}
		return 0
	}),
}

func (m liveMetrics) Describe(to chan<- *prometheus.Desc) {
	for _, d := range liveMetricList {
		to <- d.desc
	}
}

func (m liveMetrics) Collect(to chan<- prometheus.Metric) {
	counts, health := m.c.Counts(), m.c.Health()
	for _, d := range liveMetricList {
		to <- prometheus.MustNewConstMetric(d.desc, d.kind, d.read(counts, health))
	}
}
