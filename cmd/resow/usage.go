package main

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/spf13/cobra"
)

// plainly gives cobra's own complaints about arguments and flags in the words
// of the other messages. What it does not know it leaves as it is.
func plainly(c *cobra.Command, err error) error {
	var own *readError
	if errors.As(err, &own) {
		return own.err
	}
	text := err.Error()
	for _, p := range complaints {
		if m := regexp.MustCompile(p.is).FindStringSubmatch(text); m != nil {
			return errors.New(p.say(c, m)) // untyped as cobra's are: the hint shows an example
		}
	}
	return err
}

type complaint struct {
	is  string // a pattern, compiled only where something went wrong
	say func(c *cobra.Command, m []string) string
}

// complaints are the texts of cobra 1.x and pflag 1.x; a test holds each
// against the library.
var complaints = []complaint{
	{`^(?:accepts|requires) (?:at (?:least|most) )?\d+ arg\(s\), (?:only )?received (\d+)$`,
		func(c *cobra.Command, m []string) string {
			given := m[1] + " words were given after the command"
			switch m[1] {
			case "0":
				given = "nothing was given after the command"
			case "1":
				given = "one word was given after the command"
			}
			return fmt.Sprintf("%s; it takes `%s` (a name of several words goes in quotes)", given, usageOf(c))
		}},
	{`^unknown command ("(?:[^"\\]|\\.)*") for "(resow .+)"$`, func(c *cobra.Command, m []string) string {
		return fmt.Sprintf("%s is one word too many: `%s` takes flags only", m[1], m[2])
	}},
	{`^if any flags in the group \[(.+)\] are set they must all be set; missing \[(.+)\]$`,
		func(_ *cobra.Command, m []string) string {
			return fmt.Sprintf("%s belong together: give %s too", flagList(m[1]), flagList(m[2]))
		}},
	{`^if any flags in the group \[(.+)\] are set none of the others can be; \[(.+)\] were all set$`,
		func(_ *cobra.Command, m []string) string {
			return fmt.Sprintf("%s exclude each other: give one of them", flagList(m[2]))
		}},
	{`(?s)^unknown command ("(?:[^"\\]|\\.)*") for "resow"\s+Did you mean this\?\s+(.+)$`,
		func(_ *cobra.Command, m []string) string {
			return fmt.Sprintf("there is no command %s; did you mean %s?", m[1], strings.Join(strings.Fields(m[2]), " or "))
		}},
	{`^at least one of the flags in the group \[(.+)\] is required$`, func(_ *cobra.Command, m []string) string {
		return "give one of them: " + strings.ReplaceAll(flagList(m[1]), " and ", " or ")
	}},
	{`^required flag\(s\) (.+) not set$`, func(_ *cobra.Command, m []string) string {
		return fmt.Sprintf("give %s too", flagList(strings.ReplaceAll(strings.ReplaceAll(m[1], `"`, ""), ",", "")))
	}},
	{`(?s)^invalid argument (".*") for "(?:-\w, )?(--[\w-]+)" flag: (?:strconv|time|parse|invalid).*$`,
		func(c *cobra.Command, m []string) string {
			return fmt.Sprintf("%s %s: want %s", m[2], m[1], wantedBy(c, strings.TrimPrefix(m[2], "--")))
		}},
}

func usageOf(c *cobra.Command) string {
	return strings.TrimSuffix(c.UseLine(), " [flags]")
}

// flagList writes cobra's list of flag names: --from and --to.
func flagList(names string) string {
	list := strings.Fields(names)
	for i := range list {
		list[i] = "--" + list[i]
	}
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " and " + list[len(list)-1]
}

func wantedBy(c *cobra.Command, name string) string {
	flag := c.Flag(name)
	if flag == nil {
		return "another value"
	}
	switch flag.Value.Type() {
	case "int", "int64", "uint", "uint64", "uint32":
		return "a whole number"
	case "float64":
		return "a number without a unit"
	case "bool":
		return "true or false, or the flag alone"
	case "duration":
		return "a time with its unit: 20ms, 5s or 10m"
	}
	return "a " + flag.Value.Type()
}
