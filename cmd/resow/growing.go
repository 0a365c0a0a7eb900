package main

import (
	"cmp"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) growingCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		stands, err := f.Stands(f.Now())
		if err != nil {
			return err
		}
		return a.Print(struct {
			Stands []farm.Stand `json:"growing"`
		}{stands}, func(w io.Writer) {
			trays := 0
			for _, s := range stands {
				trays += s.Count
				lead := fmt.Sprintf("%-18s  %-9s  %-8s  %-11s  ", ui.Cut(s.Crop(), 18), ui.Cut(cmp.Or(s.Lot, "no lot"), 9),
					ui.Counted(s.Count, "tray"), ui.Cut(cmp.Or(s.Place, "-"), 11))
				fmt.Fprintf(w, "%s%s\n", lead, dayText(f, s.CropStand))
				fmt.Fprintf(w, "%20s%s\n", "", careText(f, s.LastMistAt, s.Next, s.NextAt))
			}
			if len(stands) == 0 {
				fmt.Fprintln(w, "Nothing is growing.")
				return
			}
			fmt.Fprintf(w, "%s growing\n", ui.Counted(trays, "tray"))
		})
	})
}

// dayText says how far a crop is: day 4 of 8 to 12, dark.
func dayText(f *farm.Farm, s medium.CropStand) string {
	text := fmt.Sprintf("day %d", s.Day)
	from, by := f.DayAt(s, s.HarvestFrom), f.DayAt(s, s.HarvestBy)
	switch {
	case by > from && from > 0:
		text += fmt.Sprintf(" of %d to %d", from, by)
	case by > 0:
		text += fmt.Sprintf(" of %d", by)
	}
	if s.Weighted {
		return text + ", dark, weighted"
	}
	return text + ", " + string(s.Phase)
}

func careText(f *farm.Farm, misted time.Time, next medium.Kind, at time.Time) string {
	texts := []string{"not misted yet"}
	if !misted.IsZero() {
		texts[0] = "misted " + f.Stamp(misted)
	}
	if next != "" {
		texts = append(texts, fmt.Sprintf("next: %s %s", next, f.Stamp(at)))
	}
	return strings.Join(texts, "; ")
}

// printStand begins the answer to a scan of a mat with a crop on it.
func (a *app) printStand(w io.Writer, f *farm.Farm, c medium.Condition, s medium.CropStand) {
	where := ""
	if s.Place != "" {
		where = ", " + s.Place
	}
	fmt.Fprintf(w, "%s   %s\n", c.Code, a.Paint(ui.Green, "GROWING"))
	ui.Say(w, "%s, %s%s", farm.Join(medium.CropName(c.Crops), farm.Named("lot", s.Lot)), dayText(f, s), where)
	work, _ := medium.WorkOn(c, f.Farm, f.Loc)
	ui.Say(w, "%s", careText(f, s.LastMistAt, work.Step, work.At))
}
