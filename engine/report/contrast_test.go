package report

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// luminance of a colour in sRGB, from 0 to 1: WCAG 2.2, relative luminance
// (https://w3c.github.io/wcag/guidelines/relative-luminance.html).
func luminance(rgb [3]uint8) float64 {
	var sum float64
	for i, share := range []float64{0.2126, 0.7152, 0.0722} {
		c := float64(rgb[i]) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += share * c
	}
	return sum
}

// contrast of two colours, from 1 to 21: WCAG 2.2, contrast ratio
// (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio).
func contrast(a, b [3]uint8) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func colour(s string) (rgb [3]uint8, err error) {
	digits, ok := strings.CutPrefix(s, "#")
	if len(digits) == 3 {
		digits = string([]byte{digits[0], digits[0], digits[1], digits[1], digits[2], digits[2]})
	}
	n, err := strconv.ParseUint(digits, 16, 24)
	if !ok || len(digits) != 6 || err != nil {
		return rgb, fmt.Errorf("%q is no colour that is known here", s)
	}
	return [3]uint8{uint8(n >> 16), uint8(n >> 8), uint8(n)}, nil
}

// TestContrastFormula holds the formula against figures that follow from the
// definition: black and white are 21, a colour and itself 1, and pure green has
// the luminance 0.7152.
func TestContrastFormula(t *testing.T) {
	black, white, green := [3]uint8{}, [3]uint8{255, 255, 255}, [3]uint8{0, 255, 0}
	require.InDelta(t, 21, contrast(white, black), 1e-9)
	require.InDelta(t, 21, contrast(black, white), 1e-9)
	require.InDelta(t, 1, contrast(green, green), 1e-9)
	require.InDelta(t, (0.7152+0.05)/0.05, contrast(green, black), 1e-9)
	grey, err := colour("#777")
	require.NoError(t, err)
	require.Less(t, contrast(grey, white), leastContrast, "the test can fail")
}

// leastContrast is that of text at level AA (WCAG 2.2, success criterion 1.4.3);
// lines need 3 (1.4.11), and get as much here.
const leastContrast = 4.5

// TestContrast holds every colour of the page against the one ground that it has.
func TestContrast(t *testing.T) {
	_, style, _ := strings.Cut(pageText, "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	background := regexp.MustCompile(`background[a-z-]*:\s*([^;}]+)`)
	grounds := background.FindAllStringSubmatch(style, -1)
	require.Len(t, grounds, 1, "a second background: hold each colour against the one that it stands on")
	ground, err := colour(strings.TrimSpace(grounds[0][1]))
	require.NoError(t, err)
	require.NotRegexp(t, `(?i)opacity|rgba?\(|hsla?\(|color-mix|filter:|color:\s*[a-z]`, style, "what this test does not reckon with")
	colours := regexp.MustCompile(`#[0-9a-fA-F]+`).FindAllString(background.ReplaceAllString(style, ""), -1)
	require.NotEmpty(t, colours)
	for _, c := range colours {
		rgb, err := colour(c)
		require.NoError(t, err)
		require.GreaterOrEqual(t, contrast(rgb, ground), leastContrast, c)
	}
	require.NotContains(t, strings.ReplaceAll(pageText, style, ""), "style=", "a colour may hide there")
}

// TestContrastOfFigures wants the figures of the committed reports to be black on
// white throughout: they are for printers too.
func TestContrastOfFigures(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "played", "*.report.html"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		svg := regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(string(data), -1)
		require.Len(t, svg, 2, "a chart and the wiring")
		for _, s := range svg {
			for _, m := range regexp.MustCompile(`(?:fill|stroke|color)="([^"]*)"`).FindAllStringSubmatch(s, -1) {
				require.Contains(t, []string{"black", "white", "none"}, m[1], f)
			}
			texts := s[strings.LastIndex(s, "<g "):]
			require.True(t, strings.HasPrefix(texts, `<g fill="black">`), f)
			require.Equal(t, strings.Count(s, "<text "), strings.Count(texts, "<text "), "texts stand in that group, over the shapes")
			require.NotContains(t, texts, `fill="white"`)
		}
	}
}
