package labels

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode"
)

// keyboard is a layout as the characters of the 47 printing keys of a US
// keyboard, row by row from the top left, without and with Shift. A scanner set
// to US sends key positions; a computer set to this layout types these. A key
// that types nothing by itself (a dead accent) stands as unknownKey.
type keyboard struct{ name, plain, shift string }

const unknownKey = '\ufffd'

const (
	usPlain = "`1234567890-=qwertyuiop[]asdfghjkl;'\\zxcvbnm,./"
	usShift = "~!@#$%^&*()_+QWERTYUIOP{}ASDFGHJKL:\"|ZXCVBNM<>?"
)

// The tables come from the xkeyboard-config symbols, package xkb-data 2.35.1,
// but for hr and gr, which are from memory. Layouts that
// only permute the letters among themselves (Dvorak, Turkish F) are left out:
// their images are letters of the alphabet again, so that a wrong reading could
// pass. They are refused and have to be set right on the scanner.
var keyboards = []keyboard{
	{"de", "�1234567890ß�qwertzuiopü+asdfghjklöä#yxcvbnm,.-", "°!\"§$%&/()=?�QWERTZUIOPÜ*ASDFGHJKLÖÄ'YXCVBNM;:_"},
	{"fr", "²&é\"'(-è_çà)=azertyuiop�$qsdfghjklmù*wxcvbn,;:!", "~1234567890°+AZERTYUIOP�£QSDFGHJKLM%µWXCVBN?./§"},
	{"be", "²&é\"'(§è!çà)-azertyuiop�$qsdfghjklmùµwxcvbn,;:=", "³1234567890°_AZERTYUIOP�*QSDFGHJKLM%£WXCVBN?./+"},
	{"ch", "§1234567890'�qwertzuiopü�asdfghjklöä$yxcvbnm,.-", "°+\"*ç%&/()=?�QWERTZUIOPè!ASDFGHJKLéà£YXCVBNM;:_"},
	{"cz", ";+ěščřžýáíé=�qwertzuiopú)asdfghjklů§�yxcvbnm,.-", "�1234567890%�QWERTZUIOP/(ASDFGHJKL\"!'YXCVBNM?:_"},
	{"cz-qwerty", ";+ěščřžýáíé=�qwertyuiopú)asdfghjklů§�zxcvbnm,.-", "�1234567890%�QWERTYUIOP/(ASDFGHJKL\"!'ZXCVBNM?:_"},
	{"sk", ";+ľščťžýáíé=�qwertzuiopúäasdfghjklô§ňyxcvbnm,.-", "�1234567890%�QWERTZUIOP/(ASDFGHJKL\"!)YXCVBNM?:_"},
	{"sk-qwerty", ";+ľščťžýáíé=�qwertyuiopúäasdfghjklô§ňzxcvbnm,.-", "�1234567890%�QWERTYUIOP/(ASDFGHJKL\"!)ZXCVBNM?:_"},
	{"hu", "0123456789öüóqwertzuiopőúasdfghjkléáűyxcvbnm,.-", "§'\"+!%/=()ÖÜÓQWERTZUIOPŐÚASDFGHJKLÉÁŰYXCVBNM?:_"},
	{"hr", "¸1234567890'+qwertzuiopšđasdfghjklčćžyxcvbnm,.-", "¨!\"#$%&/()=?*QWERTZUIOPŠĐASDFGHJKLČĆŽYXCVBNM;:_"},
	{"it", "\\1234567890'ìqwertyuiopè+asdfghjklòàùzxcvbnm,.-", "|!\"£$%&/()=?^QWERTYUIOPé*ASDFGHJKLç°§ZXCVBNM;:_"},
	{"es", "º1234567890'¡qwertyuiop�+asdfghjklñ�çzxcvbnm,.-", "ª!\"·$%&/()=?¿QWERTYUIOP�*ASDFGHJKLÑ�ÇZXCVBNM;:_"},
	{"latam", "|1234567890'¿qwertyuiop�+asdfghjklñ{}zxcvbnm,.-", "°!\"#$%&/()=?¡QWERTYUIOP�*ASDFGHJKLÑ[]ZXCVBNM;:_"},
	{"pt", "\\1234567890'«qwertyuiop+�asdfghjklçº�zxcvbnm,.-", "|!\"#$%&/()=?»QWERTYUIOP*�ASDFGHJKLÇª�ZXCVBNM;:_"},
	{"br", "'1234567890-=qwertyuiop�[asdfghjklç�]zxcvbnm,.;", "\"!@#$%�&*()_+QWERTYUIOP�{ASDFGHJKLÇ�}ZXCVBNM<>:"},
	{"dk", "½1234567890+�qwertyuiopå�asdfghjklæø'zxcvbnm,.-", "§!\"#¤%&/()=?�QWERTYUIOPÅ�ASDFGHJKLÆØ*ZXCVBNM;:_"},
	{"no", "|1234567890+\\qwertyuiopå�asdfghjkløæ'zxcvbnm,.-", "§!\"#¤%&/()=?�QWERTYUIOPÅ�ASDFGHJKLØÆ*ZXCVBNM;:_"},
	{"se", "§1234567890+�qwertyuiopå�asdfghjklöä'zxcvbnm,.-", "½!\"#¤%&/()=?�QWERTYUIOPÅ�ASDFGHJKLÖÄ*ZXCVBNM;:_"},
	{"nl", "@1234567890/°qwertyuiop�*asdfghjkl+�<zxcvbnm,.-", "§!\"#$%&_()'?�QWERTYUIOP�|ASDFGHJKL±�>ZXCVBNM;:="},
	{"ca", "#1234567890-=qwertyuiop��asdfghjkl;�<zxcvbnm,.é", "|!\"/$%?&*()_+QWERTYUIOP��ASDFGHJKL:�>ZXCVBNM'.É"},
	{"tr", "\"1234567890*-qwertyuıopğüasdfghjklşi,zxcvbnmöç.", "é!'^+%&/()=?_QWERTYUIOPĞÜASDFGHJKLŞİ;ZXCVBNMÖÇ:"},
	{"ee", "�1234567890+�qwertyuiopüõasdfghjklöä'zxcvbnm,.-", "�!\"#¤%&/()=?�QWERTYUIOPÜÕASDFGHJKLÖÄ*ZXCVBNM;:_"},
	{"lt", "`ąčęėįšųū„“-žqwertyuiop[]asdfghjkl;'\\zxcvbnm,./", "~ĄČĘĖĮŠŲŪ()_ŽQWERTYUIOP{}ASDFGHJKL:\"|ZXCVBNM<>?"},
	{"is", "�1234567890ö-qwertyuiopð'asdfghjklæ�+zxcvbnm,.þ", "�!\"#$%&/()=Ö_QWERTYUIOPÐ?ASDFGHJKLÆ�*ZXCVBNM;:Þ"},
	{"ua", "'1234567890-=йцукенгшщзхїфівапролджєґячсмитьбю.", "ʼ!\"№;%:?*()_+ЙЦУКЕНГШЩЗХЇФІВАПРОЛДЖЄҐЯЧСМИТЬБЮ,"},
	{"ru", "ё1234567890-=йцукенгшщзхъфывапролджэ\\ячсмитьбю.", "Ё!\"№;%:?*()_+ЙЦУКЕНГШЩЗХЪФЫВАПРОЛДЖЭ/ЯЧСМИТЬБЮ,"},
	{"gr", "`1234567890-=;ςερτυθιοπ[]ασδφγηξκλ�'\\ζχψωβνμ,./", "~!@#$%^&*()_+:�ΕΡΤΥΘΙΟΠ{}ΑΣΔΦΓΗΞΚΛ�\"|ΖΧΨΩΒΝΜ<>?"},
}

// inverse maps what the layout types back to what a US keyboard types. Where
// the case got lost on the way (Caps Lock), the other case serves if it is not
// a key of its own.
func (k keyboard) inverse() map[rune]rune {
	back := map[rune]rune{}
	us := []rune(usPlain + usShift)
	typed := []rune(k.plain + k.shift)
	for i, r := range typed {
		if _, taken := back[r]; !taken && r != unknownKey {
			back[r] = us[i]
		}
	}
	for i, r := range typed {
		if r == unknownKey {
			continue
		}
		for _, other := range []rune{unicode.ToUpper(r), unicode.ToLower(r)} {
			if _, taken := back[other]; !taken {
				back[other] = us[i]
			}
		}
	}
	return back
}

var inverses = sync.OnceValue(func() []map[rune]rune {
	maps := make([]map[rune]rune, 0, len(keyboards))
	for _, k := range keyboards {
		maps = append(maps, k.inverse())
	}
	return maps
})

// undo gives back what the scanner sent, and false when the layout cannot have
// typed s.
func undo(s string, back map[rune]rune) (string, bool) {
	possible := true
	out := strings.Map(func(r rune) rune {
		if r == ' ' {
			return r
		}
		us, ok := back[r]
		possible = possible && ok
		return us
	}, s)
	return out, possible
}

// parseAnyLayout tries parse on the input as it is, then on what each foreign
// layout could have made of it, and accepts those only if they agree.
func parseAnyLayout(input string, parse func(string) (string, error)) (string, error) {
	code, firstErr := parse(input)
	if firstErr == nil {
		return code, nil
	}
	trimmed := strings.TrimFunc(input, blank)
	var codes, names []string
	for i, back := range inverses() {
		sent, possible := undo(trimmed, back)
		if !possible || sent == trimmed {
			continue
		}
		code, err := parse(sent)
		if err != nil {
			continue
		}
		names = append(names, keyboards[i].name)
		if !slices.Contains(codes, code) {
			codes = append(codes, code)
		}
	}
	if len(codes) == 1 {
		return codes[0], nil
	}
	if len(codes) > 1 {
		return "", &CodeError{Input: input, Reason: ReasonLayout, Detail: fmt.Sprintf(
			"it gives %s on different keyboard layouts (%s); set the scanner to the computer's layout, or type the code",
			strings.Join(codes, " or "), strings.Join(names, ", "))}
	}
	return "", firstErr
}
