package sunlight

// Wear is a mat's accumulated sun against the weathering rating of its
// plastic.
type Wear struct {
	KLy       float64 `json:"kly"`
	RatingKLy float64 `json:"rating_kly"`
	Assumed   bool    `json:"assumed"` // the rating is AssumedRatingKLy
	Share     float64 `json:"share"`   // 1 = the rated dose is reached
}

// AssumedRatingKLy stands in for a mesh without a rating. It is an assumption
// for unstabilised polypropylene with no source; show it as such.
const AssumedRatingKLy = 25.0

// WearKLy is the dose in kLy of hours at a mean total irradiance in W/m2 (0 to
// 1500): hours * kW/m2 * 3.6 / 41.84. Outside: *RangeError.
func WearKLy(hours, wattPerM2 float64) (float64, error) {
	if !(hours >= 0 && hours <= 24*366*10) {
		return 0, &RangeError{What: "hours in the sun", Value: hours, Max: 24 * 366 * 10, Unit: "h", Fix: "look at the hours again"}
	}
	if !(wattPerM2 >= 0 && wattPerM2 <= 1500) {
		return 0, &RangeError{What: "sun", Value: wattPerM2, Max: 1500, Unit: "W/m2", Fix: "full sun is about 1000"}
	}
	return hours * wattPerM2 / 1000 * 3.6 / MJPerKLy, nil
}

// WearOf sets the accumulated sun against a rating. A rating is commonly the
// dose after which half of the strength is left, so a share of 1 is not a mat
// as good as new. ratingKLy 0 takes the assumed one. Outside 0 to 2000:
// *RangeError.
func WearOf(kLy, ratingKLy float64) (Wear, error) {
	if !(kLy >= 0 && kLy <= 1e5) {
		return Wear{}, &RangeError{What: "accumulated sun", Value: kLy, Max: 1e5, Unit: "kLy", Fix: "look at the drying records"}
	}
	if !(ratingKLy >= 0 && ratingKLy <= 2000) {
		return Wear{}, &RangeError{What: "rating", Value: ratingKLy, Max: 2000, Unit: "kLy", Fix: "read it from the mesh's data sheet, 0 when unknown"}
	}
	w := Wear{KLy: kLy, RatingKLy: ratingKLy}
	if ratingKLy == 0 {
		w.RatingKLy, w.Assumed = AssumedRatingKLy, true
	}
	w.Share = w.KLy / w.RatingKLy
	return w, nil
}
