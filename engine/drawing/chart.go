package drawing

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
)

// Series is one line of a chart.
type Series struct {
	Name   string
	Shares []float64 // 0 to 1, one for each step
}

// Measures of a chart in px.
const (
	chartHeight = 220.0
	chartRoom   = 40.0 // for the scale
)

// strokes tell lines apart without colour.
var strokes = []string{
	`stroke-width="2.6"`,
	`stroke-width="1.8" stroke-dasharray="8 3"`,
	`stroke-width="1.8" stroke-dasharray="2 3"`,
	`stroke-width="1.2"`,
	`stroke-width="1.2" stroke-dasharray="10 3 2 3"`,
	`stroke-width="1.2" stroke-dasharray="5 5"`,
}

// Chart writes shares over steps as SVG: a line for each series, of which at
// most six are drawn, named at the line's end. The first step has number 0.
func (pg Page) Chart(w io.Writer, name string, series []Series) error {
	series = series[:min(len(series), len(strokes))]
	steps := 1
	room := 0.0 // for the names
	for _, s := range series {
		steps = max(steps, len(s.Shares))
		room = max(room, textWidth(clip(s.Name, 40), normal)+44)
	}
	width := pg.usable()
	left, top := margin+chartRoom, margin+title+18
	span := max(width-chartRoom-room, 120)
	x := func(step int) float64 { return left + span*float64(step)/float64(max(1, steps-1)) }
	y := func(share float64) float64 { return top + chartHeight*(1-share) }

	c := &canvas{}
	c.text(margin, margin+title, title, atStart, bold, name)
	for i := 0; i <= 4; i++ {
		share := float64(i) / 4
		c.path("", `stroke-width="0.4"`, left, y(share), left+span, y(share))
		c.text(left-6, y(share)+3.5, small, atEnd, "", fmt.Sprintf("%.0f %%", 100*share))
	}
	every := 1 + steps/20
	for step := 0; step < steps; step += every {
		c.path("", `stroke-width="0.6"`, x(step), y(0), x(step), y(0)+4)
		c.text(x(step), y(0)+15, small, atMiddle, "", strconv.Itoa(step))
	}
	c.text(left+span/2, y(0)+30, small, atMiddle, "", "answers taken")

	// The names stand at the ends of their lines, moved apart where they meet.
	type label struct{ at, end float64 }
	labels := make([]label, len(series))
	order := make([]int, len(series))
	for i, s := range series {
		order[i] = i
		if n := len(s.Shares); n > 0 {
			labels[i] = label{y(s.Shares[n-1]), y(s.Shares[n-1])}
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(labels[a].at, labels[b].at) })
	for i, k := range order {
		if i > 0 {
			labels[k].at = max(labels[k].at, labels[order[i-1]].at+13)
		}
	}
	if n := len(order); n > 0 {
		floor := y(0)
		for i := n - 1; i >= 0; i-- {
			labels[order[i]].at = min(labels[order[i]].at, floor)
			floor = labels[order[i]].at - 13
		}
	}
	for i, s := range series {
		if len(s.Shares) == 0 {
			continue
		}
		var xy []float64
		for step, share := range s.Shares {
			xy = append(xy, x(step), y(share))
		}
		if len(s.Shares) == 1 {
			xy = append(xy, x(0)+4, y(s.Shares[0]))
		}
		c.path(s.Name, strokes[i], xy...)
		end := xy[len(xy)-2]
		c.path("", strokes[i], end, labels[i].end, end+8, labels[i].at, end+36, labels[i].at)
		c.text(end+40, labels[i].at+3.5, normal, atStart, "", clip(s.Name, 40))
	}
	about := fmt.Sprintf("%s: %d lines over %d answers.", name, len(series), steps-1)
	return c.write(w, max(width, span+chartRoom+room)+2*margin, y(0)+38+margin, name, about)
}
