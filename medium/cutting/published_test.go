package cutting

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Instances of OR-Library (Beasley 1985, gcut; Christofides and Whitlock 1977,
// cgcut), one piece a token: length,width,value or length,width,copies,value.
const (
	gcut1  = "167,184,30728 114,118,13452 167,152,25384 83,140,11620 70,86,6020 143,166,23738 120,160,19200 66,148,9768 87,141,12267 69,165,11385"
	gcut2  = "120,133,15960 135,186,25110 86,75,6450 103,73,7519 66,85,5610 135,97,13095 91,175,15925 131,176,23056 71,176,12496 153,72,11016 87,148,12876 168,107,17976 118,90,10620 140,109,15260 132,159,20988 152,93,14136 135,68,9180 121,158,19118 68,94,6392 155,76,11780"
	gcut3  = "66,80,5280 164,107,17548 64,184,11776 121,86,10406 163,135,22005 85,98,8330 81,102,8262 103,186,19158 152,106,16112 176,139,24464 111,118,13098 69,169,11661 146,133,19418 112,112,12544 133,160,21280 63,129,8127 163,152,24776 110,155,17050 96,136,13056 92,142,13064 84,143,12012 119,133,15827 71,71,5041 146,84,12264 93,86,7998 89,86,7654 101,146,14746 172,73,12556 73,169,12337 99,99,9801"
	gcut4  = "139,103,14317 166,99,16434 88,74,6512 174,139,24186 128,109,13952 175,179,31325 62,82,5084 178,87,15486 121,77,9317 125,97,12125 73,84,6132 69,97,6693 122,159,19398 66,69,4554 111,118,13098 165,86,14190 71,83,5893 163,162,26406 67,132,8844 121,152,18392 68,150,10200 138,124,17112 141,105,14805 183,122,22326 171,63,10773 101,64,6464 103,95,9785 110,107,11770 184,158,29072 85,97,8245 86,92,7912 127,155,19685 92,147,13524 106,97,10282 177,108,19116 164,150,24600 68,84,5712 62,151,9362 123,134,16482 158,178,28124 70,140,9800 173,117,20241 147,136,19992 141,145,20445 84,164,13776 144,141,20304 92,103,9476 156,98,15288 160,111,17760 127,131,16637"
	gcut5  = "198,205,40590 179,155,27745 364,236,85904 272,147,39984 352,145,51040 343,245,84035 132,174,22968 164,250,41000 282,356,100392 342,151,51642"
	gcut8  = "277,242,67034 233,177,41241 182,216,39312 147,134,19698 213,127,27051 315,212,66780 261,175,45675 210,281,59010 243,256,62208 159,314,49926 217,147,31899 260,349,90740 222,199,44178 296,127,37592 263,302,79426 226,250,56500 264,344,90816 237,179,42423 245,137,33565 137,328,44936 321,154,49434 200,174,34800 270,128,34560 299,179,53521 165,370,61050 198,182,36036 155,295,45725 278,219,60882 184,155,28520 187,270,50490 208,293,60944 261,204,53244 344,168,57792 213,135,28755 362,162,58644 362,374,135388 237,322,76314 281,308,86548 155,344,53320 210,163,34230 325,225,73125 360,225,81000 346,347,120062 131,144,18864 284,284,80656 262,228,59736 146,178,25988 254,164,41656 332,238,79016 313,304,95152"
	gcut10 = "730,300,219000 269,717,192873 463,369,170847 642,464,297888 453,329,149037 455,667,303485 506,482,243892 560,362,202720 483,260,125580 693,345,239085 381,510,194310 456,586,267216 457,453,207021 707,658,465206 639,650,415350 691,359,248069 434,700,303800 576,291,167616 728,739,537992 545,742,404390"
	gcut13 = "365,185,67525 378,200,75600 410,165,67650 425,148,62900 425,296,125800 439,116,50924 464,1006,466784 520,205,106600 520,350,182000 540,530,286200 549,1413,775737 549,1882,1033218 553,496,274288 555,755,419025 555,496,275280 555,659,365745 567,473,268191 572,592,338624 572,975,557700 572,1175,672100 572,1575,900900 572,1390,795080 572,1490,852280 572,1590,909480 572,1690,966680 572,1890,1081080 610,625,381250 660,490,323400 690,447,308430 949,445,422305 949,478,453622 970,463,449110"
	cgcut1 = "8,4,2,66 3,7,1,35 8,2,3,24 3,4,5,17 3,3,2,11 3,2,2,8 2,1,1,2"
	cgcut2 = "21,22,1,582 31,13,1,403 9,35,3,315 9,24,3,216 30,7,2,210 11,13,3,143 10,14,1,140 14,8,3,110 12,8,3,94 13,7,3,90"
	cgcut3 = "31,43,4,500 30,41,2,480 29,39,4,460 28,38,4,440 27,37,3,420 26,36,4,410 25,35,3,400 24,34,4,380 33,23,4,360 22,32,3,340 31,21,3,320 29,18,3,300 17,27,2,280 15,24,2,240 16,25,4,260 15,24,1,240 23,14,4,220 21,12,3,180 19,11,4,160 9,17,1,140"
	chl5   = "14,2,1,28 1,5,1,5 20,4,2,80 12,3,3,36 11,8,2,88 11,6,2,66 7,9,1,63 17,5,1,85 7,14,2,98 1,7,3,7"
	chl2   = "11,15,2,108 27,9,3,148 19,21,1,291 28,31,1,512 13,17,2,159 15,29,3,348 29,13,2,256 31,12,2,260 31,19,2,353 23,16,1,206"
)

func instance(t testing.TB, text string, turn, limited bool) []Size {
	var out []Size
	for _, tok := range strings.Fields(text) {
		var s Size
		f := strings.Split(tok, ",")
		var err error
		if len(f) == 4 {
			_, err = fmt.Sscanf(tok, "%d,%d,%d,%d", &s.LengthMM, &s.WidthMM, &s.Count, &s.Value)
		} else {
			_, err = fmt.Sscanf(tok, "%d,%d,%d", &s.LengthMM, &s.WidthMM, &s.Value)
			s.Count = 1
		}
		require.NoError(t, err)
		if !limited {
			s.Count = 0
		}
		s.Turn = turn
		out = append(out, s)
	}
	return out
}

func TestPublishedUnlimited(t *testing.T) {
	const glauber = "ime.usp.br/~glauber/gcut, table of optimal values"
	const hifi = "Hifi and Zissimopoulos 1996"
	for _, c := range []struct {
		name, data string
		sheet      Sheet
		turn       bool
		want       int
		source     string
		long       bool
	}{
		{"gcut1", gcut1, Sheet{250, 250}, false, 56460, glauber, false},
		{"gcut2", gcut2, Sheet{250, 250}, false, 60536, glauber, false},
		{"gcut3", gcut3, Sheet{250, 250}, false, 61036, glauber, false},
		{"gcut4", gcut4, Sheet{250, 250}, false, 61698, glauber, false},
		{"gcut5", gcut5, Sheet{500, 500}, false, 246000, glauber, false},
		{"gcut8", gcut8, Sheet{500, 500}, false, 246633, glauber, false},
		{"gcut10", gcut10, Sheet{1000, 1000}, false, 982025, glauber, false},
		{"gcut13", gcut13, Sheet{3000, 3000}, false, 8997780, glauber, true},
		{"gcut1r", gcut1, Sheet{250, 250}, true, 58136, glauber, false},
		{"gcut2r", gcut2, Sheet{250, 250}, true, 60611, glauber, false},
		{"gcut3r", gcut3, Sheet{250, 250}, true, 61626, glauber, false},
		{"gcut4r", gcut4, Sheet{250, 250}, true, 62265, glauber, false},
		{"gcut5r", gcut5, Sheet{500, 500}, true, 246000, glauber, false},
		{"gcut8r", gcut8, Sheet{500, 500}, true, 247787, glauber, false},
		{"gcut10r", gcut10, Sheet{1000, 1000}, true, 982025, glauber, false},
		{"cgcut1 unlimited", cgcut1, Sheet{15, 10}, false, 249, hifi, false},
		{"cgcut2 unlimited", cgcut2, Sheet{40, 70}, false, 3076, hifi, false},
		{"cgcut3 unlimited", cgcut3, Sheet{40, 70}, false, 2240, hifi, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.long && testing.Short() {
				t.Skip("long: the largest published instance")
			}
			p, err := BestSheet(c.sheet, instance(t, c.data, c.turn, false), Cutting{}, 4e9)
			require.NoError(t, err)
			require.Equal(t, c.want, p.Value, c.source)
			require.True(t, p.Proven)
		})
	}
}

func TestPublishedLimited(t *testing.T) {
	for _, c := range []struct {
		name, data string
		sheet      Sheet
		turn       bool
		want       int
		source     string
	}{
		{"cgcut1", cgcut1, Sheet{15, 10}, false, 244, "Christofides and Whitlock 1977, quoted in the tests of a public library of guillotine models"},
		{"cgcut2", cgcut2, Sheet{40, 70}, false, 2892, "Christofides and Whitlock 1977, from memory"},
		{"cgcut3", cgcut3, Sheet{40, 70}, false, 1860, "Christofides and Whitlock 1977, from memory"},
		{"gcut1 one copy each", gcut1, Sheet{250, 250}, false, 48368, "quoted in the tests of a public library of guillotine models"},
		{"CHL5", chl5, Sheet{20, 20}, false, 390, "quoted in the tests of a public library of guillotine models"},
		{"CHL2", chl2, Sheet{62, 55}, false, 2326, "Cung, Hifi and Le Cun 2000, from memory"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := BestSheet(c.sheet, instance(t, c.data, c.turn, true), Cutting{}, 4e9)
			require.NoError(t, err)
			t.Logf("value %d bound %d, %v", p.Value, p.Bound, p.Batches[0].Pattern)
			require.Equal(t, c.want, p.Value, c.source)
			require.True(t, p.Proven)
		})
	}
}
