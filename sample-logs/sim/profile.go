package sim

import _ "embed"

// The robots' profiles, written to teach. They are published beside the sample logs.
var (
	//go:embed heron.yaml
	heronProfile []byte
	//go:embed curlew.yaml
	curlewProfile []byte
)

func profileFor(s scenario) []byte {
	if s.robot == "curlew" {
		return append([]byte(nil), curlewProfile...)
	}
	return append([]byte(nil), heronProfile...)
}
