module github.com/afterbell/afterbell/cmd/dev/peers

go 1.26.0

replace github.com/afterbell/afterbell => ../../..

require (
	github.com/afterbell/afterbell v0.0.0-00010101000000-000000000000
	github.com/gorilla/websocket v1.5.3
	github.com/marcboeker/go-duckdb v1.8.5
	github.com/mattn/go-sqlite3 v1.14.53
	github.com/stretchr/testify v1.12.1
)

require (
	github.com/apache/arrow-go/v18 v18.1.0 // indirect
	github.com/apache/arrow/go/v15 v15.0.2 // indirect
	github.com/go-viper/mapstructure/v2 v2.2.1 // indirect
	github.com/goccy/go-json v0.10.5 // indirect
	github.com/goccy/go-yaml v1.19.2 // indirect
	github.com/google/flatbuffers v25.1.24+incompatible // indirect
	github.com/google/uuid v1.6.0 // indirect
	github.com/klauspost/compress v1.20.4 // indirect
	github.com/klauspost/cpuid/v2 v2.2.9 // indirect
	github.com/parquet-go/bitpack v1.0.0 // indirect
	github.com/parquet-go/parquet-go v0.32.0 // indirect
	github.com/pierrec/lz4/v4 v4.1.22 // indirect
	github.com/zeebo/xxh3 v1.0.2 // indirect
	go.yaml.in/yaml/v3 v3.0.5 // indirect
	golang.org/x/exp v0.0.0-20250128182459-e0ece0dbea4c // indirect
	golang.org/x/mod v0.41.0 // indirect
	golang.org/x/sync v0.23.0 // indirect
	golang.org/x/sys v0.48.0 // indirect
	golang.org/x/telemetry v0.0.0-20260811182544-a038080d80e5 // indirect
	golang.org/x/tools v0.49.0 // indirect
	golang.org/x/xerrors v0.0.0-20240903120638-7835f813f4da // indirect
)
