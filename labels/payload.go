package labels

import (
	"net/url"
	"strings"
)

// WebPayload is the address of a mat's page at the farm's station, so that a
// phone's own camera opens it: base "http://host:port" gives
// "HTTP://HOST:PORT/m/CODE". Scheme and host are put in upper case, which means
// the same (RFC 3986 sections 3.1 and 3.2.2) and needs fewer modules; the path
// keeps its case. base may carry a path of its own, and then no "/m" is added.
func WebPayload(base, code string) (string, error) {
	code, err := Parse(code)
	if err != nil {
		return "", err
	}
	scheme, host, path, err := splitBase(base)
	if err != nil {
		return "", err
	}
	if path == "" {
		path = "/m"
	}
	return strings.ToUpper(scheme+"://"+host) + path + "/" + code, nil
}

func splitBase(base string) (scheme, host, path string, err error) {
	u, parseErr := url.Parse(base)
	if parseErr != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return "", "", "", refused("%q is not a web address to print; give it as http://host:port", base)
	}
	if u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return "", "", "", refused("%q carries more than host and path; leave out user names, ? and #", base)
	}
	return u.Scheme, u.Host, strings.TrimRight(u.EscapedPath(), "/"), nil
}

// CheckDigit is the GS1 mod-10 check digit of a string of digits: weights 3, 1,
// 3 … from the right (GS1 General Specifications, check digit calculation).
func CheckDigit(digits string) (byte, error) {
	if digits == "" || strings.Trim(digits, "0123456789") != "" {
		return 0, refused("%q is not a number; a GS1 key has digits only", digits)
	}
	sum := 0
	for i := range len(digits) {
		weight := 1
		if (len(digits)-i)%2 == 1 {
			weight = 3
		}
		sum += weight * int(digits[i]-'0')
	}
	return byte('0' + (10-sum%10)%10), nil
}

// GRAIPayload is a GS1 Digital Link with a Global Returnable Asset Identifier,
// application identifier 8003: resolver/8003/0PPPPPPPAAAAAC and the code as its
// serial. It is for farms that hold a company prefix. prefix (4 to 12 digits)
// and assetType together have twelve digits; the check digit is computed.
// resolver is a web address such as "https://id.example.com".
//
// Layout of the key: GS1 Syntax Dictionary, AI 8003 (zero, N13, check digit,
// company prefix first, then up to 16 characters of serial).
func GRAIPayload(resolver, prefix, assetType, code string) (string, error) {
	code, err := Parse(code)
	if err != nil {
		return "", err
	}
	if len(prefix) < 4 || len(prefix) > 12 || len(prefix)+len(assetType) != 12 {
		return "", refused("company prefix %q and asset type %q have %d digits; together they need 12, the prefix as GS1 "+
			"issued it to the farm (without one, print the bare code)", prefix, assetType, len(prefix)+len(assetType))
	}
	check, err := CheckDigit(prefix + assetType)
	if err != nil {
		return "", err
	}
	scheme, host, path, err := splitBase(resolver)
	if err != nil {
		return "", err
	}
	return strings.ToUpper(scheme+"://"+host) + path + "/8003/0" + prefix + assetType + string(check) + code, nil
}

// Read takes whatever a scanner or a person gives, in every form that was ever
// printed, and returns the code: the bare code as Parse reads it, a web address
// whose last part is a code, a GS1 Digital Link with a GRAI, or the element
// string (8003)…. Any case, an AIM prefix, a foreign keyboard layout and line
// ends around it are accepted. A GRAI whose check digit is wrong is refused.
// The error is a *CodeError.
func Read(payload string) (string, error) {
	if err := tooLong(payload, 512); err != nil {
		return "", err
	}
	return parseAnyLayout(payload, readPlain)
}

func readPlain(payload string) (string, error) {
	s := stripAIM(strings.ToUpper(strings.TrimFunc(payload, blank)))
	s = strings.TrimPrefix(s, "\x1d") // the leading separator of a GS1 symbol
	if key, ok := strings.CutPrefix(s, "(8003)"); ok {
		return readGRAI(payload, key)
	}
	_, path, isAddress := strings.Cut(s, "://")
	if !isAddress {
		return parsePlain(s)
	}
	if end := strings.IndexAny(path, "#?"); end >= 0 {
		path = path[:end]
	}
	parts := strings.Split(strings.TrimRight(path, "/"), "/")
	if len(parts) < 2 {
		return "", noCode(payload, ReasonForm, "the web address has no code at its end; scan the label of a "+
			"mat, a bottle or a card")
	}
	last := parts[len(parts)-1]
	if parts[len(parts)-2] == "8003" {
		return readGRAI(payload, last)
	}
	return parsePlain(last)
}

// readGRAI reads the value of AI 8003: a zero, 12 digits, the check digit of
// those 12, and our code as the serial.
func readGRAI(payload, key string) (string, error) {
	if len(key) < 14 || strings.Trim(key[:14], "0123456789") != "" || key[0] != '0' {
		return "", noCode(payload, ReasonForm,
			"after 8003 a GRAI has a zero and 13 digits; the label was printed wrongly or is not ours: print a new one")
	}
	want, err := CheckDigit(key[1:13])
	if err != nil || want != key[13] {
		return "", noCode(payload, ReasonCheckDigit,
			"the GRAI %s should end in the check digit %c; scan again, and print a new label if it stays so", key[1:14], want)
	}
	return parsePlain(key[14:])
}
