package coverage

// FewestAt is the bound that knows the odds of the causes, on checks as the chances of
// their results by cause.
func FewestAt(bits float64, prior []float64, checks ...[][]float64) float64 {
	var of []channel
	for _, c := range checks {
		of = append(of, c)
	}
	return fewestAt(bits, prior, of)
}
