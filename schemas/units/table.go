package units

import "math"

// The units that roles of the profile are converted to.
var (
	One             = named("1")
	Volt            = named("V")
	Ampere          = named("A")
	Metre           = named("m")
	Radian          = named("rad")
	RadianPerSecond = named("rad/s")
	Degree          = named("deg")
	DegreePerSecond = named("deg/s")
)

type row struct {
	Unit
	also []string // further spellings, already folded
}

const (
	inch  = 254 // of a metre / 10000: 0.0254 m exactly
	foot  = 3048
	perIn = 10000
	pound = 0.45359237 // kg, exact
	g0    = 9.80665    // m/s², standard gravity, exact by convention
)

func unit(symbol string, q Quantity, num, den float64, also ...string) row {
	return row{Unit{Symbol: symbol, Quantity: q, Num: num, Den: den}, also}
}

var table = []row{
	unit("1", Ratio, 1, 1, "ratio", "fraction", "unitless", "dimensionless"),
	unit("%", Ratio, 1, 100, "percent", "pct"),

	unit("V", Voltage, 1, 1, "volt", "volts", "vdc"),
	unit("mV", Voltage, 1, 1000, "millivolt", "millivolts"),
	unit("uV", Voltage, 1, 1e6, "microvolt", "microvolts"),
	unit("kV", Voltage, 1000, 1, "kilovolt", "kilovolts"),
	unit("A", Current, 1, 1, "amp", "amps", "ampere", "amperes"),
	unit("mA", Current, 1, 1000, "milliamp", "milliamps", "milliampere", "milliamperes"),
	unit("uA", Current, 1, 1e6, "microamp", "microamps"),
	unit("W", Power, 1, 1, "watt", "watts"),
	unit("mW", Power, 1, 1000, "milliwatt", "milliwatts"),
	unit("kW", Power, 1000, 1, "kilowatt", "kilowatts"),
	unit("J", Energy, 1, 1, "joule", "joules"),
	unit("Wh", Energy, 3600, 1, "watthour", "watthours"),
	unit("As", Charge, 1, 1, "coulomb", "coulombs"),
	unit("Ah", Charge, 3600, 1, "amphour", "amphours"),
	unit("mAh", Charge, 3.6, 1, "milliamphour", "milliamphours"),
	unit("Ohm", Resistance, 1, 1, "ohms"),
	unit("mOhm", Resistance, 1, 1000, "milliohm", "milliohms"),
	unit("kOhm", Resistance, 1000, 1, "kiloohm", "kilohm", "kilohms"),

	unit("s", Time, 1, 1, "sec", "secs", "second", "seconds"),
	unit("ms", Time, 1, 1000, "msec", "millisecond", "milliseconds"),
	unit("us", Time, 1, 1e6, "usec", "microsecond", "microseconds"),
	unit("ns", Time, 1, 1e9, "nsec", "nanosecond", "nanoseconds"),
	unit("min", Time, 60, 1, "minute", "minutes"),
	unit("h", Time, 3600, 1, "hr", "hour", "hours"),
	unit("Hz", Frequency, 1, 1, "hertz", "1/s"),
	unit("kHz", Frequency, 1000, 1, "kilohertz"),

	unit("m", Length, 1, 1, "meter", "meters", "metre", "metres"),
	unit("mm", Length, 1, 1000, "millimeter", "millimeters", "millimetre", "millimetres"),
	unit("cm", Length, 1, 100, "centimeter", "centimeters", "centimetre", "centimetres"),
	unit("km", Length, 1000, 1, "kilometer", "kilometers", "kilometre", "kilometres"),
	unit("in", Length, inch, perIn, "inch", "inches", `"`),
	unit("ft", Length, foot, perIn, "foot", "feet"),
	unit("m/s", Speed, 1, 1, "mps", "meters/s", "metres/s", "meters/sec", "m/sec"),
	unit("mm/s", Speed, 1, 1000, "mm/sec"),
	unit("cm/s", Speed, 1, 100, "cm/sec"),
	unit("in/s", Speed, inch, perIn, "ips", "in/sec", "inches/s", "inches/sec"),
	unit("ft/s", Speed, foot, perIn, "fps", "ft/sec", "feet/s", "feet/sec"),
	unit("km/h", Speed, 10, 36, "kmh", "kph"),
	unit("m/s2", Acceleration, 1, 1, "m/s/s", "mps2"),
	unit("gee", Acceleration, g0, 1, "gees", "gn", "g0"),

	unit("rad", Angle, 1, 1, "radian", "radians"),
	unit("mrad", Angle, 1, 1000, "milliradian", "milliradians"),
	unit("deg", Angle, math.Pi, 180, "degs", "degree", "degrees"),
	unit("rev", Angle, 2*math.Pi, 1, "revs", "revolution", "revolutions", "turn", "turns", "rot", "rots", "rotation", "rotations"),
	unit("rad/s", AngularSpeed, 1, 1, "rad/sec", "radians/s", "radians/sec", "radps"),
	unit("deg/s", AngularSpeed, math.Pi, 180, "deg/sec", "degs/s", "degrees/s", "degrees/sec", "dps"),
	unit("rpm", AngularSpeed, 2*math.Pi, 60, "rev/min", "r/min", "revolutions/min", "rot/min", "rotations/min", "1/min"),
	unit("rev/s", AngularSpeed, 2*math.Pi, 1, "rps", "rev/sec", "r/s", "rot/s", "rotations/s", "turns/s", "revolutions/s"),

	unit("kg", Mass, 1, 1, "kilogram", "kilograms"),
	unit("g", Mass, 1, 1000, "gram", "grams"),
	unit("lb", Mass, pound, 1, "lbs", "pound", "pounds"),
	unit("N", Force, 1, 1, "newton", "newtons"),
	unit("kN", Force, 1000, 1, "kilonewton", "kilonewtons"),
	unit("lbf", Force, pound*g0, 1),
	unit("Nm", Torque, 1, 1, "newtonmeter", "newtonmeters", "newtonmetre", "newtonmetres"),
	unit("Ncm", Torque, 1, 100),
	{Unit{Symbol: "degC", Quantity: Temperature, Num: 1, Den: 1}, []string{"c", "celsius"}},
	{Unit{Symbol: "degF", Quantity: Temperature, Num: 5, Den: 9, Offset: -160.0 / 9}, []string{"f", "fahrenheit"}},
	{Unit{Symbol: "K", Quantity: Temperature, Num: 1, Den: 1, Offset: -273.15}, []string{"kelvin"}},
	unit("Pa", Pressure, 1, 1, "pascal", "pascals"),
	unit("kPa", Pressure, 1000, 1, "kilopascal", "kilopascals"),
	unit("bar", Pressure, 1e5, 1, "bars"),
	unit("psi", Pressure, pound*g0*perIn*perIn, inch*inch, "lbf/in2"),
}

// byName is every spelling's row: the symbol as it is, its folded form, and the others.
var byName = func() map[string]int {
	names := make(map[string]int, 4*len(table))
	for i, r := range table {
		names[r.Symbol] = i
		if _, taken := names[fold(r.Symbol)]; !taken {
			names[fold(r.Symbol)] = i
		}
		for _, spelling := range r.also {
			names[spelling] = i
		}
	}
	return names
}()

func named(symbol string) Unit {
	for _, r := range table {
		if r.Symbol == symbol {
			return r.Unit
		}
	}
	panic("units: no row for " + symbol)
}
