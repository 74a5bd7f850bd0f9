package stat

// Intraclass is the share of the variance of single values that lies between groups: the
// intraclass correlation of a one-way random-effects analysis of variance, for groups of
// unequal size; below 0 where groups differ by less than chance would have them. Groups of one
// do not count. It is not ok with fewer than two groups or when all values are equal.
//
// Fisher, Statistical Methods for Research Workers (1925), chapter VII; Shrout and Fleiss,
// Psychological Bulletin 86 (1979), ICC(1,1); the mean size of unequal groups after Snedecor
// and Cochran, Statistical Methods, 13.
func Intraclass(groups [][]float64) (share float64, ok bool) {
	var n, sum, sizes, a float64
	for _, g := range groups {
		if len(g) < 2 {
			continue
		}
		a++
		n += float64(len(g))
		sizes += float64(len(g) * len(g))
		for _, v := range g {
			sum += v
		}
	}
	if a < 2 {
		return 0, false
	}
	var between, within float64
	for _, g := range groups {
		if len(g) < 2 {
			continue
		}
		own := 0.0
		for _, v := range g {
			own += v / float64(len(g))
		}
		for _, v := range g {
			within += (v - own) * (v - own)
		}
		between += float64(len(g)) * (own - sum/n) * (own - sum/n)
	}
	size := (n - sizes/n) / (a - 1)
	between, within = between/(a-1), within/(n-a)
	whole := between + (size-1)*within
	if whole == 0 {
		return 0, false
	}
	return (between - within) / whole, true
}
