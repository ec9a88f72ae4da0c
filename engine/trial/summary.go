package trial

import (
	"math"
	"slices"
)

// Summary is how the cases of a study went together. Shares are from 0 to 1; each
// case counts alike, save where it says that cases count by their odds.
type Summary struct {
	Plays          int
	Alone          float64 // the verdict names one repair, and it is the right one
	Right          float64 // the right repair comes first
	In             float64 // what was wrong is in the verdict
	InByOdds       float64 // the same, by odds
	Hidden         int     // cases of causes of which a good reading at rest can lie
	HiddenLost     float64 // of these, what was wrong is not in the verdict
	Listed         float64 // mean causes in the verdict
	Checks         Spread
	Minutes        Spread
	ChecksByOdds   float64 // mean, by odds
	Doubted        float64 // mean checks that put a reading in doubt
	Misread        int     // cases with a gross misreading
	Noticed        float64 // of these, the wrong reading was put in doubt
	Offered        int     // checks offered
	Unsafe         []string
	Calibration    []Bin   // of what verdicts say of their first repair, by odds
	CalibrationOff float64 // expected calibration error, by odds
	Brier          float64 // by odds
}

// Spread is a mean, a median and a 95th percentile.
type Spread struct{ Mean, Median, P95 float64 }

// Bin is the verdicts that were said with a probability from Low to High.
type Bin struct {
	Low, High float64
	Plays     int
	Weight    float64 // by odds, of all verdicts
	Said      float64 // mean, by odds
	Right     float64 // share, by odds
}

// binEnds cut probabilities into bins, finer where most verdicts are.
var binEnds = []float64{0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.98, 0.99, 1}

// Summarise sums up cases; subjects count alike where cases count by odds.
func Summarise(played []Played) Summary {
	s := Summary{Plays: len(played)}
	if len(played) == 0 {
		return s
	}
	n := float64(len(played))
	share := func(f func(*Played) bool) float64 {
		k := 0
		for i := range played {
			if f(&played[i]) {
				k++
			}
		}
		return float64(k) / n
	}
	s.Alone = share(func(p *Played) bool { return p.Alone && p.Right })
	s.Right = share(func(p *Played) bool { return p.Right })
	s.In = share(func(p *Played) bool { return p.In })
	for low := range len(binEnds) - 1 {
		s.Calibration = append(s.Calibration, Bin{Low: binEnds[low], High: binEnds[low+1]})
	}
	var checks, minutes []float64
	var weight float64
	noticed, hiddenLost := 0, 0
	for i := range played {
		p := &played[i]
		checks, minutes = append(checks, float64(p.Checks)), append(minutes, p.Minutes)
		s.Listed += float64(p.Listed) / n
		s.Doubted += float64(p.Doubted) / n
		s.Offered += p.Offered
		for _, u := range p.Unsafe {
			s.Unsafe = append(s.Unsafe, p.Subject+", "+p.Cause+": "+u)
		}
		if p.Wrong != "" {
			s.Misread++
			if p.Noticed {
				noticed++
			}
		}
		if p.Hides {
			s.Hidden++
			if !p.In {
				hiddenLost++
			}
		}
		weight += p.Odds
		s.ChecksByOdds += p.Odds * float64(p.Checks)
		right := 0.0
		if p.Right {
			right = 1
		}
		if p.In {
			s.InByOdds += p.Odds
		}
		s.Brier += p.Odds * (p.Said - right) * (p.Said - right)
		k := 0
		for k < len(s.Calibration)-1 && p.Said >= s.Calibration[k].High {
			k++
		}
		b := &s.Calibration[k]
		b.Plays++
		b.Weight += p.Odds
		b.Said += p.Odds * p.Said
		b.Right += p.Odds * right
	}
	s.Checks, s.Minutes = spread(checks), spread(minutes)
	if s.Misread > 0 {
		s.Noticed = float64(noticed) / float64(s.Misread)
	}
	if s.Hidden > 0 {
		s.HiddenLost = float64(hiddenLost) / float64(s.Hidden)
	}
	s.InByOdds, s.ChecksByOdds, s.Brier = s.InByOdds/weight, s.ChecksByOdds/weight, s.Brier/weight
	for i := range s.Calibration {
		b := &s.Calibration[i]
		if b.Weight > 0 {
			b.Said, b.Right = b.Said/b.Weight, b.Right/b.Weight
			b.Weight /= weight
			s.CalibrationOff += b.Weight * math.Abs(b.Said-b.Right)
		}
	}
	return s
}

func spread(xs []float64) Spread {
	slices.Sort(xs)
	var sum float64
	for _, x := range xs {
		sum += x
	}
	at := func(share float64) float64 { return xs[min(len(xs)-1, int(share*float64(len(xs))))] }
	return Spread{sum / float64(len(xs)), at(0.5), at(0.95)}
}

// Ended returns the share of cases that have ended after so many checks, from 0,
// with what was wrong in the verdict.
func Ended(played []Played) []float64 {
	most := 0
	for i := range played {
		most = max(most, played[i].Checks)
	}
	out := make([]float64, most+1)
	for i := range played {
		if p := &played[i]; p.In {
			for k := p.Checks; k <= most; k++ {
				out[k] += 1 / float64(len(played))
			}
		}
	}
	return out
}
