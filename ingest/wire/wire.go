// Package wire is what a robot and the collector say to each other over a WebSocket: the
// messages, the samples in them, and the limits they keep. The collector and the sender share
// it, so that both mean the same. schemas/live.md describes it for other senders.
//
// Samples come as text (json.go) or as Arrow record batches (record.go). Both become a Batch:
// columns of numbers that name their signals by the numbering of the robot's power-up
// (names.go), which is also how the journal keeps them.
package wire

import (
	"encoding/json"
	"fmt"
)

// The protocol, as it stands in the handshake of RFC 6455.
const (
	Path        = "/v1/live"
	Subprotocol = "afterbell.live.v1"
)

// Code says what kind of thing went wrong.
type Code string

// The codes of an error message.
const (
	Gap        Code = "gap"         // a batch is missing; Expected says which
	BadMessage Code = "bad_message" // nothing of it was kept
	BadName    Code = "bad_name"    // a robot, source, event or match cannot be called that
	TooLarge   Code = "too_large"   // a message or a text is too long
	TooMany    Code = "too_many"    // signals or connections
	Storage    Code = "storage"     // the disk takes nothing now; keep and wait
	NoHello    Code = "no_hello"    // the first message must say who is there
)

// Fault is an error that the other side is told.
type Fault struct {
	Code     Code
	Text     string
	Expected uint64 // of Gap
}

func (f *Fault) Error() string { return f.Text }

// Faultf makes a fault.
func Faultf(code Code, format string, args ...any) *Fault {
	return &Fault{Code: code, Text: fmt.Sprintf(format, args...)}
}

// The messages. Type is always there; see schemas/live.md for the fields of each.
type (
	// Hello says who is there. It is the first message of a connection.
	Hello struct {
		Type   string `json:"type"` // hello
		Robot  string `json:"robot"`
		Source string `json:"source,omitempty"` // which computer of the robot; main
		Boot   string `json:"boot"`             // unique for this power-up
	}
	// Welcome answers it: everything up to batch DurableSeq of this boot is on disk.
	Welcome struct {
		Type       string `json:"type"` // welcome
		DurableSeq uint64 `json:"durable_seq"`
	}
	// Ack says that everything up to that batch is on stable storage.
	Ack struct {
		Type       string `json:"type"` // ack
		DurableSeq uint64 `json:"durable_seq"`
	}
	// Clock is one of the three messages of an exchange after RFC 5905. T0 and T3 are robot
	// time, T1 and T2 collector time, in microseconds.
	Clock struct {
		Type string `json:"type"` // clock
		T0   *int64 `json:"t0_us"`
		T1   *int64 `json:"t1_us,omitempty"`
		T2   *int64 `json:"t2_us,omitempty"`
		T3   *int64 `json:"t3_us,omitempty"`
	}
	// Signals numbers signals of this connection, from First on.
	Signals struct {
		Type  string   `json:"type"` // signals
		First uint32   `json:"first"`
		Names []string `json:"names"` // a unit may ride on a name in brackets
		Types []string `json:"types"` // float64, int64, bool, text
	}
	// Match opens or closes a match by hand.
	Match struct {
		Type  string `json:"type"` // match
		Event string `json:"event,omitempty"`
		Match string `json:"match,omitempty"`
		State string `json:"state"`           // start, end
		At    *int64 `json:"at_us,omitempty"` // robot time; the newest sample's
	}
	// MatchState answers it.
	MatchState struct {
		Type   string `json:"type"` // match
		State  string `json:"state"`
		Sealed bool   `json:"sealed"`
	}
	// Error is a Fault on its way.
	Error struct {
		Type     string  `json:"type"` // error
		Code     Code    `json:"code"`
		Message  string  `json:"message"`
		Expected *uint64 `json:"expected,omitempty"` // of gap
	}
)

// Message is f as it is sent.
func (f *Fault) Message() Error {
	e := Error{Type: "error", Code: f.Code, Message: f.Text}
	if f.Code == Gap {
		e.Expected = &f.Expected
	}
	return e
}

// Encode is a message as it is sent.
func Encode(message any) []byte {
	data, err := json.Marshal(message)
	if err != nil { // none of our messages holds what JSON cannot
		panic(err)
	}
	return data
}
