package wire

import (
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"hash/crc32"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

// readable is a batch as name, time, value.
func readable(b *Batch, names *Names) [][3]any {
	out := [][3]any{}
	for i, s := range b.Signal {
		e := names.Entries[s]
		var v any
		switch e.Kind {
		case schemas.Float64:
			v = math.Float64frombits(b.Value[i])
		case schemas.Int64:
			v = int64(b.Value[i])
		case schemas.Bool:
			v = b.Value[i] != 0
		default:
			v = string(b.TextAt(b.Value[i]))
		}
		out = append(out, [3]any{e.Name, b.Time[i], v})
	}
	return out
}

func TestBatchOfText(t *testing.T) {
	r := Reader{Names: &Names{}}
	_, f := r.Names.Add("count", schemas.Int64, 10)
	require.Nil(t, f)
	_, f = r.Names.Add("note", schemas.Text, 10)
	require.Nil(t, f)
	b, f := r.Batch([]byte(`{"type":"batch","seq":7,"samples":[["power/voltage [V]",1250000,11.9],["power/voltage",-5,"nan"],
		["mode",3,"driver"],["beam",4,true],["count",5,"9223372036854775807"],["count",6,12],["note",7,"nan"],["caf\u00e9",8,-0.0]], "more":{"a":[1,null,"x"]}}`))
	require.Nil(t, f)
	require.EqualValues(t, 7, b.Seq)
	got := readable(b, r.Names)
	require.True(t, math.IsNaN(got[1][2].(float64)))
	got[1][2] = nil
	require.Equal(t, [][3]any{
		{"power/voltage", int64(1250000), 11.9},
		{"power/voltage", int64(-5), nil},
		{"mode", int64(3), "driver"},
		{"beam", int64(4), true},
		{"count", int64(5), int64(math.MaxInt64)},
		{"count", int64(6), int64(12)},
		{"note", int64(7), "nan"},
		{"café", int64(8), math.Copysign(0, -1)},
	}, got)
	require.Equal(t, "V", r.Names.Entries[2].Unit)
}

func TestBadBatchKeepsNothing(t *testing.T) {
	for text, want := range map[string]string{
		`{"type":"batch","samples":[]}`:                                                         `no "seq"`,
		`{"type":"batch","seq":1}`:                                                              `no "samples"`,
		`{"type":"batch","seq":-1,"samples":[]}`:                                                "whole number",
		`{"type":"batch","seq":1,"samples":[["a",1,2]]`:                                         "ends",
		`{"type":"batch","seq":1,"samples":[["a",1,2]]} x`:                                      "the end",
		`{"type":"batch","seq":1,"samples":[["new",1,2],["new",2,"s"]]}`:                        "does not fit signal",
		`{"type":"batch","seq":1,"samples":[["new",1,2],["new",2,true]]}`:                       "does not fit signal",
		`{"type":"batch","seq":1,"samples":[["new",1.5,2]]}`:                                    "whole microseconds",
		`{"type":"batch","seq":1,"samples":[["new",1,1e400]]}`:                                  "largest float64",
		`{"type":"batch","seq":1,"samples":[["new",1,01]]}`:                                     "JSON number",
		`{"type":"batch","seq":1,"samples":[["new",1,.5]]}`:                                     "JSON number",
		`{"type":"batch","seq":1,"samples":[["new",1,null]]}`:                                   "JSON number",
		`{"type":"batch","seq":1,"samples":[["",1,2]]}`:                                         "empty",
		`{"type":"batch","seq":1,"samples":[["new",9000000000000000001,2]]}`:                    "9e12",
		`{"type":"batch","seq":1,"samples":[["new",1,2,3]]}`:                                    "]",
		`{"type":"batch","seq":1,"seq":2,"samples":[]}`:                                         "twice",
		`{"type":"batch","seq":18446744073709551616,"samples":[]}`:                              "whole number",
		`{"type":"batch","seq":1,"samples":[["a",1,"` + strings.Repeat("x", MaxText+1) + `"]]}`: "longer",
	} {
		r := Reader{Names: &Names{}}
		_, f := r.Names.Add("known", schemas.Float64, 10)
		require.Nil(t, f)
		_, f = r.Batch([]byte(text))
		require.NotNil(t, f, text)
		require.Contains(t, f.Text, want, text)
		require.Len(t, r.Names.Entries, 1, text)
		_, known := r.Names.Find([]byte("new"), -1)
		require.False(t, known, text)
	}
	r := Reader{Names: &Names{}, MostSignal: 1}
	_, f := r.Batch([]byte(`{"type":"batch","seq":1,"samples":[["a",1,2],["b",1,2]]}`))
	require.Equal(t, TooMany, f.Code)
}

func TestType(t *testing.T) {
	r := Reader{Names: &Names{}}
	for text, want := range map[string]string{
		`{"type":"batch","seq":1`:               "batch",
		` {"seq":[1,{"type":3}], "type" : "x"}`: "x",
	} {
		got, f := r.Type([]byte(text))
		require.Nil(t, f)
		require.Equal(t, want, got)
	}
	for _, bad := range []string{``, `[]`, `{}`, `{"type":3}`, `{"a":"b"`, strings.Repeat(`{"a":`, 100), "{\"a\x01\":1}"} {
		_, f := r.Type([]byte(bad))
		require.NotNil(t, f, bad)
	}
}

var kinds = []schemas.Kind{schemas.Float64, schemas.Int64, schemas.Bool, schemas.Text}

// anyBatch draws a batch of four signals, one of each kind.
func anyBatch(t *rapid.T) *Batch {
	b := &Batch{Seq: rapid.Uint64().Draw(t, "seq")}
	for range rapid.IntRange(0, 40).Draw(t, "samples") {
		s := rapid.Uint32Range(0, 3).Draw(t, "signal")
		at := rapid.Int64Range(-9e18, 9e18).Draw(t, "time")
		switch kinds[s] {
		case schemas.Float64:
			v := rapid.Float64().Draw(t, "float")
			switch rapid.IntRange(0, 9).Draw(t, "special") {
			case 0:
				v = math.NaN()
			case 1:
				v = math.Inf(-1)
			}
			b.AddSample(s, at, v)
		case schemas.Int64:
			b.AddSample(s, at, rapid.Int64().Draw(t, "int"))
		case schemas.Bool:
			b.AddSample(s, at, rapid.Bool().Draw(t, "bool"))
		default:
			b.AddSample(s, at, rapid.String().Draw(t, "text"))
		}
	}
	return b
}

func fourNames(t require.TestingT) *Names {
	n := &Names{}
	for i, name := range []string{"float", "int", "bool", "text \"quoted\" é"} {
		_, f := n.Add(name, kinds[i], 10)
		require.Nil(t, f)
	}
	return n
}

func sameBatch(t require.TestingT, want, got *Batch, names *Names) {
	require.Equal(t, want.Seq, got.Seq)
	require.Equal(t, want.Len(), got.Len())
	for i := range want.Signal {
		require.Equal(t, want.Signal[i], got.Signal[i])
		require.Equal(t, want.Time[i], got.Time[i])
		if names.Entries[want.Signal[i]].Kind == schemas.Text {
			require.Equal(t, string(want.TextAt(want.Value[i])), string(got.TextAt(got.Value[i])))
		} else {
			require.Equal(t, want.Value[i], got.Value[i])
		}
	}
}

func TestBothFormsCarryEveryBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBatch(t)
		e := NewEncoder()
		data, err := e.Encode(b, kinds)
		require.NoError(t, err)
		r := Reader{Names: fourNames(t)}
		got, f := r.Record(data, []uint32{0, 1, 2, 3})
		require.Nil(t, f)
		sameBatch(t, b, got, r.Names)

		stored, ok := ParseStored(AppendStored(nil, 5, 77, b))
		require.True(t, ok)
		require.Equal(t, b.Len(), stored.Samples)
		require.EqualValues(t, 77, stored.Arrived)
		for i := range b.Signal {
			require.Equal(t, b.Signal[i], stored.SignalAt(i))
			require.Equal(t, b.Time[i], stored.TimeAt(i))
			if kinds[b.Signal[i]] == schemas.Text {
				require.Equal(t, string(b.TextAt(b.Value[i])), string(stored.TextAt(stored.ValueAt(i))))
			} else {
				require.Equal(t, b.Value[i], stored.ValueAt(i))
			}
		}

		text := AppendBatch(nil, b, r.Names.Entries)
		require.True(t, json.Valid(text), "by encoding/json")
		back, f := r.Batch(text)
		require.Nil(t, f)
		for i := range back.Value { // JSON has one NaN
			if kinds[b.Signal[i]] == schemas.Float64 && math.IsNaN(math.Float64frombits(b.Value[i])) {
				require.True(t, math.IsNaN(math.Float64frombits(back.Value[i])))
				back.Value[i] = b.Value[i]
			}
		}
		sameBatch(t, b, back, r.Names)
	})
}

// encoded is a binary message of one sample of each kind.
func encoded(t testing.TB) []byte {
	t.Helper()
	b := &Batch{Seq: 3}
	b.AddSample(0, 1, 2.5)
	b.AddSample(1, 2, int64(-3))
	b.AddSample(2, 3, true)
	b.AddSample(3, 4, "driver")
	data, err := NewEncoder().Encode(b, kinds)
	require.NoError(t, err)
	return append([]byte{}, data...)
}

func TestFlippedBytesAreNoticed(t *testing.T) {
	good := encoded(t)
	numbers := []uint32{0, 1, 2, 3}
	for at := 8; at < len(good); at++ { // the sequence number is in nobody's checksum
		bad := append([]byte{}, good...)
		bad[at] ^= 0x10
		r := Reader{Names: fourNames(t)}
		_, f := r.Record(bad, numbers)
		require.NotNil(t, f, "byte %d", at)
		require.Equal(t, BadMessage, f.Code)
	}
	for cut := range good {
		r := Reader{Names: fourNames(t)}
		_, f := r.Record(good[:cut], numbers)
		require.NotNil(t, f)
	}
}

// resum puts the right checksum into a message that was tampered with.
func resum(data []byte) []byte {
	if len(data) >= RecordHeader {
		sum := crc32.Checksum(data[RecordHeader:], castagnoli)
		data[8], data[9], data[10], data[11] = byte(sum), byte(sum>>8), byte(sum>>16), byte(sum>>24)
	}
	return data
}

func TestHostileRecordsNeverPanic(t *testing.T) {
	good := encoded(t)
	for at := RecordHeader; at < len(good); at++ {
		for _, to := range []byte{0x00, 0x01, 0x7f, 0x80, 0xff} {
			bad := append([]byte{}, good...)
			bad[at] = to
			r := Reader{Names: fourNames(t)}
			if b, f := r.Record(resum(bad), []uint32{0, 1, 2, 3}); f == nil {
				require.LessOrEqual(t, b.Len(), len(good))
			}
		}
	}
	r := Reader{Names: fourNames(t)}
	_, f := r.Record(good, []uint32{0, 1, 2})
	require.Contains(t, f.Text, "was not numbered")
	_, f = r.Record(good, []uint32{1, 0, 2, 3})
	require.Contains(t, f.Text, "not in the column of int64")
}

func FuzzRecord(f *testing.F) {
	f.Add(encoded(f)[RecordHeader:])
	f.Fuzz(func(t *testing.T, message []byte) {
		r := Reader{Names: fourNames(t)}
		data := resum(append(make([]byte, RecordHeader), message...))
		if b, fault := r.Record(data, []uint32{0, 1, 2, 3}); fault == nil {
			again, err := NewEncoder().Encode(b, kinds)
			require.NoError(t, err)
			first := *b
			first.Signal, first.Time = append([]uint32{}, b.Signal...), append([]int64{}, b.Time...)
			first.Value, first.Text = append([]uint64{}, b.Value...), append([]byte{}, b.Text...)
			second, fault := r.Record(again, []uint32{0, 1, 2, 3})
			require.Nil(t, fault)
			sameBatch(t, &first, second, r.Names)
		}
	})
}

func FuzzBatch(f *testing.F) {
	f.Add([]byte(`{"type":"batch","seq":7,"samples":[["a",1,11.9],["b",-5,"nan"],["c",3,"x\n"],["d",4,true]]}`))
	f.Add([]byte(`{"samples":[],"seq":1}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r := Reader{Names: &Names{}}
		b, fault := r.Batch(data)
		if fault != nil {
			require.Empty(t, r.Names.Entries)
			return
		}
		// What is taken is JSON by encoding/json too, and means the same.
		var message struct {
			Samples []json.RawMessage `json:"samples"`
		}
		require.True(t, json.Valid(data))
		if strings.Count(string(data), "samples") == 1 && json.Unmarshal(data, &message) == nil && message.Samples != nil {
			require.Len(t, message.Samples, b.Len())
		}
	})
}

// RFC 3720, appendix B.4, and the check value of the CRC catalogue (CRC-32/ISCSI).
func TestChecksumIsCRC32C(t *testing.T) {
	f, err := os.Open("testdata/crc32c.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 7)
	for _, row := range rows[1:] {
		data, err := hex.DecodeString(row[1])
		require.NoError(t, err)
		want, err := strconv.ParseUint(row[2], 16, 32)
		require.NoError(t, err)
		require.EqualValues(t, want, crc32.Checksum(data, castagnoli), row[0])
	}
}

// What JSON calls no number is none, however often its signal came before: the quick way of
// reading numbers keeps to the grammar of RFC 8259, section 6.
func TestNumbersOfTheGrammar(t *testing.T) {
	read := func(number string) (float64, *Fault) {
		r := Reader{Names: &Names{}}
		first := `["a",1,1],["b",2,2],["a",3,3],["b",4,4]`
		b, f := r.Batch([]byte(`{"type":"batch","seq":1,"samples":[` + first + `,["a",5,` + number + `]]}`))
		if f != nil {
			return 0, f
		}
		return math.Float64frombits(b.Value[4]), nil
	}
	for _, good := range []string{"0", "-0", "7", "-7.25", "0.5", "-0.125", "1e3", "1E-3", "12.5e+2", "123456789012345678901", " 4 ", "4.000000000000000000001"} {
		got, f := read(good)
		require.Nil(t, f, good)
		var want float64
		require.NoError(t, json.Unmarshal([]byte(good), &want))
		require.Equal(t, math.Float64bits(want), math.Float64bits(got), good)
	}
	for _, bad := range []string{"-", "+1", ".5", "-.5", "1.", "-1.", "01", "-01", "00", "1.e5", "1e", "1e+", "0x1", "1_0", "inf", "nan", "-inf", "1.5.2", "1,2", "--1"} {
		_, f := read(bad)
		require.NotNil(t, f, bad)
		require.False(t, json.Valid([]byte("["+bad+"]")) && bad != "1,2", bad)
	}
	for _, bad := range []string{"1.0.0", "01", "+5", "5.5", "9000000000000000001", "-"} {
		r := Reader{Names: &Names{}}
		_, f := r.Batch([]byte(`{"type":"batch","seq":1,"samples":[["a",1,1],["a",` + bad + `,1]]}`))
		require.NotNil(t, f, bad)
	}
}
