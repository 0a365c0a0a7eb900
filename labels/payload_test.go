package labels

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestCheckDigitAgainstPublishedValues(t *testing.T) {
	for _, c := range []struct{ key, source string }{
		{"8904000210037", "GS1 India, worked example"},
		{"7300011000017", "GS1 Sweden, worked example"},
		{"02345673", "GS1 Syntax Dictionary, src/lint_csum.c unit test"},
		{"416000336108", "the same"}, {"1234567890128", "the same"}, {"12345678901231", "the same"}, {"123456789012345675", "the same"},
		{"4012345000771", "gs1/EPCIS SensorDataExample14.jsonld: GRAI in a Digital Link"},
		{"7300015200154", "Swedish BIS semantic data dictionary BDT00000065: GRAI"},
		{"09521234543213", "GS1 Digital Link examples: GTIN"},
		{"106141411234567897", "BWIPP wiki: SSCC"},
	} {
		got, err := CheckDigit(c.key[:len(c.key)-1])
		require.NoError(t, err)
		require.Equal(t, c.key[len(c.key)-1:], string(got), "%s: %s", c.key, c.source)
	}
	// Published as invalid: GS1 Syntax Dictionary, src/lint_csum.c.
	for _, key := range []string{"416000336109", "1234567890129", "12345678901232", "123456789012345670", "12345673"} {
		got, err := CheckDigit(key[:len(key)-1])
		require.NoError(t, err)
		require.NotEqual(t, key[len(key)-1:], string(got))
	}
	for _, bad := range []string{"", "12a", "１２", "-1"} {
		_, err := CheckDigit(bad)
		require.Error(t, err, bad)
	}
}

func TestPayloads(t *testing.T) {
	const code = "TK7R2N81"
	bare, err := Parse("tk7r 2n81") // the bare code is the default payload
	require.NoError(t, err)
	require.Equal(t, code, bare)

	web, err := WebPayload("http://farm.local:8080/", code)
	require.NoError(t, err)
	require.Equal(t, "HTTP://FARM.LOCAL:8080/m/TK7R2N81", web)
	web, err = WebPayload("http://farm.local:8080/M", code)
	require.NoError(t, err)
	require.Equal(t, "HTTP://FARM.LOCAL:8080/M/TK7R2N81", web)

	// 952 is the prefix that GS1 keeps for demonstrations (from memory).
	grai, err := GRAIPayload("https://id.example.com", "9521234", "00001", code)
	require.NoError(t, err)
	require.Equal(t, "HTTPS://ID.EXAMPLE.COM/8003/09521234000013TK7R2N81", grai)

	for _, base := range []string{"", "farm.local", "ftp://x", "http://", "http://a b", "http://x/?q=1", "http://u:p@x", "http://x/#f"} {
		_, err := WebPayload(base, code)
		var payloadErr *PrintError
		require.ErrorAs(t, err, &payloadErr, base)
		_, err = GRAIPayload(base, "9521234", "00001", code)
		require.Error(t, err, base)
	}
	for _, key := range [][2]string{{"", "000000000001"}, {"952", "000000001"}, {"9521234", "1"}, {"952123x", "00001"}, {"9521234", "000011"}} {
		_, err := GRAIPayload("https://id.example.com", key[0], key[1], code)
		require.Error(t, err, key)
	}
	_, err = WebPayload("http://farm.local", "TK7R2N82")
	require.Error(t, err)
}

func TestRead(t *testing.T) {
	for _, c := range []struct {
		payload, want string
		reason        Reason
	}{
		{"TK7R2N81", "TK7R2N81", ""},
		{"\r\n]Q1tk7r2n81\t", "TK7R2N81", ""},
		{"TK7R 2N81", "TK7R2N81", ""},
		{"http://192.168.1.10:8080/m/TK7R2N81", "TK7R2N81", ""},
		{"HTTPS://FARM.EXAMPLE/M/TK7R2N81/", "TK7R2N81", ""},
		{"http://farm.example/m/tk7r2n81?from=label#top", "TK7R2N81", ""},
		{"]Q1http://farm.example/m/tk7r2n81\r\n", "TK7R2N81", ""},
		{"https://id.example.com/8003/09521234000013TK7R2N81", "TK7R2N81", ""},
		{"https://id.example.com/some/path/8003/09521234000013tk7r2n81", "TK7R2N81", ""},
		{"(8003)09521234000013TK7R2N81", "TK7R2N81", ""},
		{"]Q3\x1d(8003)09521234000013TK7R2N81", "TK7R2N81", ""},
		{"https://id.example.com/8003/09521234000014TK7R2N81", "", ReasonCheckDigit},
		{"(8003)09521234000103TK7R2N81", "", ReasonCheckDigit},
		{"https://id.example.com/8003/19521234000013TK7R2N81", "", ReasonForm},
		{"https://id.example.com/8003/0952123400", "", ReasonForm},
		// GS1's own example is a fine GRAI but none of ours: its serial is 8765.
		{"https://id.example.com/8003/040123450007718765", "", ReasonLength},
		{"https://id.example.com/8003/09521234000013", "", ReasonEmpty},
		{"http://farm.example", "", ReasonForm},
		{"http://farm.example/m/", "", ReasonAlphabet},
		{"http://farm.example/m/TK7R2N82", "", ReasonCheck},
		{"http://farm.example/m/TK7R2N81/edit", "", ReasonLength},
		{"", "", ReasonEmpty},
		{strings.Repeat("A", 513), "", ReasonLength},
	} {
		code, err := Read(c.payload)
		require.Equal(t, c.want, code, "%q: %v", c.payload, err)
		if c.reason != "" {
			require.Error(t, err, c.payload)
			if c.reason != ReasonAlphabet {
				require.Equal(t, c.reason, reasonOf(t, err), "%q: %v", c.payload, err)
			}
		}
	}
}

func TestEveryFormIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := anyCode(t)
		digits := func(n int) string {
			return rapid.StringMatching("[0-9]{"+string(rune('0'+n))+"}").Draw(t, "digits")
		}
		grai, err := GRAIPayload("https://id.example.com/x", "952"+digits(4), digits(5), code)
		require.NoError(t, err)
		web, err := WebPayload("http://192.168.1.10:8080", code)
		require.NoError(t, err)
		form := rapid.SampledFrom([]string{code, Print(code), web, grai}).Draw(t, "form")
		if rapid.Bool().Draw(t, "lower") {
			form = strings.ToLower(form)
		}
		form = rapid.SampledFrom([]string{"", "]Q1", "]Q3", " "}).Draw(t, "before") + form +
			rapid.SampledFrom([]string{"", "\r", "\n", "\r\n", "\t"}).Draw(t, "after")
		got, err := Read(form)
		require.NoError(t, err, form)
		require.Equal(t, code, got)
	})
}

func TestAWrongDigitInAGRAIIsRefused(t *testing.T) {
	grai, err := GRAIPayload("https://id.example.com", "9521234", "00001", "TK7R2N81")
	require.NoError(t, err)
	start := strings.Index(grai, "/8003/0") + len("/8003/0")
	for i := start; i < start+13; i++ {
		for _, d := range "0123456789" {
			wrong := grai[:i] + string(d) + grai[i+1:]
			if wrong == grai {
				continue
			}
			_, err := Read(wrong)
			require.Equal(t, ReasonCheckDigit, reasonOf(t, err), wrong)
		}
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"TK7R2N81", "http://h/m/TK7R2N81", "https://id.example.com/8003/09521234000013TK7R2N81",
		"(8003)09521234000013TK7R2N81", "]Q1://", "://", "(8003)", "http://h/8003/", "ttp:&&"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		code, err := Read(s)
		if err != nil {
			reasonOf(t, err)
			return
		}
		if again, err := Read(code); err != nil || again != code {
			t.Fatalf("%q gave %q, which reads as %q %v", s, code, again, err)
		}
	})
}
