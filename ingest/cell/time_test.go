package cell

import (
	"math/big"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestSeconds(t *testing.T) {
	for s, want := range map[string]int64{
		"0": 0, "-0": 0, "1.25": 1_250_000, "-1.25": -1_250_000, "+3": 3_000_000, " 2.5 ": 2_500_000,
		"0.1": 100_000, "1e3": 1_000_000_000, "1.5E-6": 2, "12.340000000000002": 12_340_000,
		"0.0000005": 1, "-0.0000005": -1, "0.00000049999999999999999999": 0, "0.0000014999999999999999999999": 1, "2.5e-6": 3,
		"9e12": MaxTime, "-9e12": -MaxTime, "9000000000000.0000004": MaxTime, "0000000000000000000000000001": 1_000_000,
		"8999999999999.9999995": MaxTime, "8999999999999.9999994": MaxTime - 1, "8999999999999.99999949": MaxTime - 1,
		"1e-999999": 0, "0e999999": 0, "1e-30": 0, "0.00000000000000000000000000001e30": 10_000_000,
		"123456789.123456": 123_456_789_123_456,
	} {
		got, err := Seconds([]byte(s))
		assert.NoError(t, err, "%q", s)
		assert.Equal(t, want, got, "%q", s)
	}
	for _, s := range []string{"9000000000000.0000005", "9.0000001e12", "-1e13", "1e999999", "1" + strings.Repeat("0", 40), "18446744073709.551617"} {
		_, err := Seconds([]byte(s))
		assert.Equal(t, ErrTimeSize, err, "%q", s)
	}
	for _, s := range []string{"", "nan", "inf", "-inf", "1,5", "0x1", "12:30", "1_0", "1.5s", ".", "1e"} {
		_, err := Seconds([]byte(s))
		assert.Equal(t, ErrNoTime, err, "%q", s)
	}
}

func TestMicros(t *testing.T) {
	for s, want := range map[string]int64{"0": 0, "-5": -5, "+5": 5, "9000000000000000000": MaxTime, "-9000000000000000000": -MaxTime, "000000000000000000000007": 7} {
		got, err := Micros([]byte(s))
		assert.NoError(t, err, "%q", s)
		assert.Equal(t, want, got, "%q", s)
	}
	for s, want := range map[string]error{
		"9000000000000000001": ErrTimeSize, "99999999999999999999999": ErrTimeSize, "1.0": ErrNoTime, "1e3": ErrNoTime, "": ErrNoTime, "nan": ErrNoTime,
	} {
		_, err := Micros([]byte(s))
		assert.Equal(t, want, err, "%q", s)
	}
}

// The reference is exact rational arithmetic (math/big).
func TestSecondsAreExact(t *testing.T) {
	million, half := big.NewRat(1_000_000, 1), big.NewRat(1, 2)
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[-+]?([0-9]{1,15}(\.[0-9]{0,25})?|\.[0-9]{1,25})([eE][-+]?[0-9]{1,2})?`).Draw(t, "seconds")
		exact, ok := new(big.Rat).SetString(s)
		if !ok {
			t.Fatalf("%q is not for math/big", s)
		}
		exact.Mul(exact, million)
		negative := exact.Sign() < 0
		exact.Abs(exact).Add(exact, half)
		want := new(big.Int).Quo(exact.Num(), exact.Denom())
		if negative {
			want.Neg(want)
		}
		got, err := Seconds([]byte(s))
		if inside := new(big.Int).Abs(want).Cmp(big.NewInt(MaxTime)) <= 0; inside != (err == nil) || inside && want.Int64() != got {
			t.Fatalf("%q: got %d %v, want %s", s, got, err, want)
		}
	})
}

func TestAppendSeconds(t *testing.T) {
	for us, want := range map[int64]string{
		0: "0", 1: "0.000001", -1: "-0.000001", 1_250_000: "1.25", -3_000_000: "-3", 10_000_000: "10", 100_100: "0.1001", MaxTime: "9000000000000",
	} {
		assert.Equal(t, want, string(AppendSeconds(nil, us)))
	}
	rapid.Check(t, func(t *rapid.T) {
		us := rapid.Int64Range(-MaxTime, MaxTime).Draw(t, "us")
		if got, err := Seconds(AppendSeconds(nil, us)); err != nil || got != us {
			t.Fatalf("%d came back as %d, %v", us, got, err)
		}
	})
}
