package station

import "fmt"

// texts are all words of the pages in one language. Another language is another
// map with the same keys; a test compares the keys with what the pages use.
// Sentences of the rules come from package medium.
type texts map[string]string

// get gives a text; a missing one shows its key, so that it is noticed.
func (t texts) get(key string, args ...any) string {
	text, ok := t[key]
	if !ok {
		return "[" + key + "]"
	}
	if len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

var english = texts{
	"nav.skip": "Skip to the page", "nav.label": "Pages", "nav.due": "Due", "nav.many": "Many mats", "nav.mix": "Mix", "nav.pool": "Pool",
	"nav.reports": "Reports", "nav.more": "More", "nav.policy": "Policy", "nav.sanitizers": "Sanitizers", "nav.people": "People", "nav.status": "Status", "nav.kept": "Steps of this device", "nav.held": "Kept steps wait for you: %d", "nav.backup": "The last backup failed",
	"nav.by": "Recording as %s", "nav.noshift": "Pick your initials",
	"foot": "A verdict is clear or not clear by the farm's own rules, and nothing more. The sanitizer's label, local health rules and qualified people come first.",

	"guard.cross":      "This request came from another site and was refused. Open the station's own page and try again.",
	"guard.host":       "This station does not answer under that name. Use the address that it shows on its terminal.",
	"guard.path":       "There is no such page.",
	"guard.nopage":     "There is no such page here; go back to the list of what is due.",
	"guard.nopicture":  "This picture is not in the folder beside the ledger; it was moved or deleted.",
	"guard.nopictures": "This step takes no picture.",
	"guard.large":      "That is more than the station takes in one piece. Leave the picture out, or record fewer mats at once.",
	"guard.mistake":    "The station made a mistake on this page. It is noted on the terminal; nothing was recorded by this.",
	"guard.failed":     "The station could not do this. Tell whoever looks after it; its terminal says more.",
	"guard.unpaired":   "This device is not paired with the station. Open /pair and enter the code from the station's terminal.",
	"guard.boss":       "Only a supervisor's device may do this. A supervisor pairs it on the page People, or at the terminal.",
	"guard.token":      "This form has no valid request token; open the page again and send it from there.",
	"guard.shift":      "Pick your initials first: every step is recorded with who did it.",

	"way.stage":     "%s. The mat's own page offers the steps that can come next.",
	"way.time":      "%s. Open “Done earlier?” below and give the time at which it was done. If the time of the step before is wrong, a supervisor corrects that one in the mat's history.",
	"way.earlier":   "%s. That time goes under “Done earlier?” below.",
	"way.clock":     "%s. The clock of the station's computer is meant, not this phone's.",
	"way.retired":   "%s. A supervisor voids it with “Correct” in the mat's history.",
	"way.nobody":    "%s. Pick your initials first.",
	"way.computer":  "%s. That is done at the station's computer.",
	"way.unrinsed":  "%s. Where it has a rinse, tick “The directions ask for a rinse with potable water”.",
	"way.unnamed":   "%s. Somebody gives it its name at the station's computer.",
	"way.wash":      "%s. Leave “Back to the stage that it was held in” empty.",
	"way.correct":   "%s. A supervisor voids a step with “Correct” in the mat's history.",
	"way.reason":    "%s. Write it under “Reason”.",
	"way.sun":       "%s. Write it under “How long it took”.",
	"way.strength":  "%s. Write it under “Strength”, or pick the bottle under “Solution”.",
	"way.crop":      "%s. Pick one that the form offers, or have yours added at the station's computer.",
	"way.mat":       "%s. It has to be registered at the station's computer.",
	"way.rule":      "%s. The page Policy shows them all.",
	"way.sanitizer": "%s. The page Sanitizers shows those on file; a supervisor copies another label there.",
	"way.solution":  "%s. The page Mix shows those on file; mix a fresh one there.",
	"way.middle":    "%s; leave it empty for their middle.",
	"way.stock":     "%s. Give it as “Strength of the stock”, or have a supervisor copy the label again with it.",
	"way.unlikely":  "%s. If it does say so, tick “The label does say so” below and send it again.",
	"way.token":     "Something else was sent with this form before. Open the page again and enter the step there.",
	"way.busy":      "Another program is using the ledger. Nothing was recorded; try again in a moment.",
	"way.disk":      "Nothing was recorded: the station can't write to its disk. Tell whoever looks after it, and send the step again after that.",
	"way.unsure":    "The station's disk failed at the very end, so it is not known whether this was recorded. Look in the mat's history before you do it again, and tell whoever looks after the station.",

	"problem.title": "Not recorded.", "problem.question": "That can't be worked out.",
	"fail.title": "That did not work",

	"offline.single": "1 step waits on this device:", "offline.many": "%d steps wait on this device:",
	"offline.kept": "The station does not answer. The step is kept on this device and sent when it does.",
	"offline.full": "There is no room to keep this step on the device. Write it on paper and enter it later with its time.",
	"offline.sent": "Sent and recorded:", "offline.missed": "NOT ACCEPTED:", "offline.refused": "Refused, not recorded: %d",
	"offline.drop": "I have seen this", "offline.send": "Try now", "offline.mend": "Mend and send", "offline.by": "by %s",
	"offline.mending": "You are mending the step of %s. It was refused:", "offline.pick": "Pick your initials",
	"offline.nobody": "Nobody had picked initials. The step is kept on this device until you say whose it is.", "offline.mine": "I did this: %s",
	"offline.again": "The ledger was restored from a backup and lacks steps of this device; they are sent again.",
	"offline.held":  "With the station, waiting for a supervisor: %d", "offline.done": "Recorded in the last 14 days: %d", "offline.none": "This device keeps no steps.",

	"kept.title": "Steps of this device", "kept.held": "The step is with the station. A supervisor has to say whether it counts: the device that it was made on was revoked, or can't prove who was at work.",
	"kept.wait": "Waiting for you: %d", "kept.about": "It is not certain who did these steps: the device that kept them was revoked, or can't prove who was at work. Ask the person. What you accept is recorded as theirs, sent by you.",
	"kept.who": "By %s, entered %s. Sent by %s, %s, from %s.", "kept.accept": "Accept: %s did this", "kept.refuse": "Refuse", "kept.here": "On this device",
	"kept.list": "What was entered on this device, as far as it is kept here. Steps that were recorded stay for 14 days, in case the ledger has to be restored.", "kept.noscript": "This list needs the page's script.",

	"find.label": "Code of a mat (scan or type)", "find.go": "Open",

	"due.title": "Due now", "due.nothing": "Nothing is due.", "due.more": "%d more; do these first.", "due.soon": "In the next 24 hours",
	"due.stale": "The station can't be reached. This is the list as it was at %s; look at the mat before you rely on it.", "due.at": "As of %s. This page refreshes itself.", "due.hours": "%s h overdue", "due.days": "%s days overdue", "due.in_hours": "in %s h", "due.in_days": "in %s days",

	"word.sow": "sow", "word.sow with care": "sow with care", "word.do not sow": "do not sow", "word.retire": "retire",
	"severity.retire": "retire:", "severity.stop": "stop:", "severity.care": "care:", "severity.step": "step rule", "severity.due": "due rule",
	"stage.to wash": "waiting to wash", "stage.to dry": "waiting to dry", "stage.to sanitize": "waiting to sanitize", "stage.airing": "airing",
	"stage.ready": "ready", "stage.growing": "growing", "stage.on hold": "on hold", "stage.retired": "retired", "stage.": "",

	"mat.since": "since %s", "mat.turn": "turn %d", "mat.new": "not sown yet", "mat.why": "Why", "mat.limit": "limit from:",
	"mat.sanitized": "Last sanitized %s:", "mat.accepted": "accepted", "mat.notaccepted": "not accepted",
	"mat.wrong": "Something wrong, or out of turn", "mat.about": "This mat", "mat.size": "Size", "mat.material": "Material", "mat.mesh": "Mesh",
	"mat.meshtext": "opening %g mm, thread %g mm, %.0f %% open", "mat.mark": "Mark", "mat.history": "History",
	"mat.look": "Look at the mat before you sow. A clean look is not a clean mat.", "mat.gone": "This mat is out of use for good; its records stay. Take its label off, so that nobody sows on it.",

	"step.sow": "Sow", "step.mist": "Mist", "step.uncover": "Uncover", "step.move": "Move", "step.note": "Note", "step.harvest": "Harvest", "step.rinse": "Rinse", "step.dry": "Dry", "step.sanitize": "Sanitize",
	"step.mold": "Mold", "step.cut": "Cut or tear", "step.swab": "Swab", "step.inspect": "Inspect", "step.hold": "Hold", "step.release": "Release",
	"step.trim": "Trim", "step.relabel": "New label", "step.retire": "Retire", "step.document": "Food-contact statement",
	"kind.add": "add", "kind.sow": "sow", "kind.mist": "mist", "kind.uncover": "uncover", "kind.move": "move", "kind.note": "note", "kind.harvest": "harvest", "kind.rinse": "rinse", "kind.dry": "dry", "kind.sanitize": "sanitize",
	"kind.mold": "mold", "kind.cut": "cut", "kind.swab": "swab", "kind.inspect": "inspect", "kind.hold": "hold", "kind.release": "release",
	"kind.trim": "trim", "kind.relabel": "relabel", "kind.document": "document", "kind.retire": "retire", "kind.correct": "correct",
	"kind.solution": "mix a solution", "kind.strip": "test strip", "kind.discard": "solution gone",

	"form.need": "needed", "form.record": "Record", "form.back": "Back", "form.late": "Done earlier?",

	"field.crop": "Crop", "field.seed": "Seed on each mat", "field.lot": "Lot", "field.seed_lot": "Seed lot of the supplier", "field.place": "Shelf or area",
	"field.water": "Water on each mat", "field.below": "From below, into the tray", "field.with": "In the water", "field.move.place": "Where it stands now",
	"field.uncover.place": "Where it stands now, if it was moved", "field.text": "Note", "field.treated": "Treated with", "field.where": "Where", "field.yield": "Yield of each mat",
	"field.cut_height": "Height of the cut above the mat", "field.knife_touched": "The knife touched the mesh", "field.more_cuts": "More cuts to come; it stays growing",
	"field.debris": "Left on the mat", "field.detergent": "Detergent", "field.took": "Hands-on time for each mat", "field.for": "How long it took",
	"field.solution": "Solution", "field.product": "Sanitizer", "field.strength": "Strength", "field.contact": "How long it stayed wet", "field.sides": "Sides",
	"field.temp": "Temperature of the solution", "field.ph": "pH", "field.method": "Method", "field.rinsed": "Rinsed with potable water after the contact time",
	"field.seen": "Seen", "field.share": "Share of the mat", "field.length": "Length of the cut", "field.through": "It goes through the mesh",
	"field.test": "Test", "field.result": "Result", "field.reading": "Reading", "field.limit": "Limit, from the test's maker", "field.unit": "Unit of both",
	"field.fold_snaps": "A thread snaps when the mat is folded flat", "field.fuzz": "Fuzz, chalking or whitening at the crossings", "field.holes": "Holes found",
	"field.smell": "It smells", "field.mold": "Mold seen", "field.no_cuts": "Looked for after a trim: no cut and no hole is left", "field.aperture": "Mean opening over ten", "field.note": "Note", "field.mold.treated": "What was done about it", "field.area": "Or the area", "field.uv": "UV index of a forecast", "field.sky": "How the sky was",
	"field.harvest.place": "Where it was done, if not on its shelf", "field.rinse.place": "Where it was done", "field.sanitize.place": "Where it was done",
	"field.document.contact": "The statement, in the supplier's words", "field.contact_date": "Its date", "field.supplier": "Supplier, if not on file yet",
	"field.reason": "Reason", "field.dropped": "It fell on the floor: it must be washed", "field.as_was": "Back to the stage that it was held in", "field.size": "New size", "field.removes_cuts": "The damaged part went with the offcut",
	"field.mark": "Mark that needs no label", "field.cause": "Cause", "field.picture": "Picture", "field.at": "When it was done",
	"field.name": "Name, as on its label", "field.active": "Active ingredient", "field.stock": "Strength of the stock", "field.directions": "Directions are from",
	"field.density": "Density of the stock", "field.opened_days": "Days that an opened bottle stays good",
	"field.least": "Least strength in use", "field.most": "Greatest strength in use", "field.min_temp": "Least temperature", "field.max_temp": "Greatest temperature",
	"field.min_ph": "Least pH", "field.max_ph": "Greatest pH", "field.rinse": "The directions ask for a rinse with potable water", "field.corrects": "The copy on file was wrong: why", "hint.corrects": "Leave it empty for a new label, which counts from now on. A correction counts for what was done with the wrong copy too, and stops mats that miss it.", "field.as_printed": "The label does say so, although no published range covers it", "field.good_h": "Hours that a mixed solution stays good",
	"field.registration": "Registration number", "field.rule_limit": "Limit", "field.window": "In the last turns", "field.off": "Switch this rule off",

	"hint.area": "Length x width: 20x10mm.", "hint.uv": "For the sun: the mean of those hours.", "hint.contact_date": "2026-03-01",
	"hint.crop": "For a mix: broccoli=16g, radish=12g.", "hint.size": "Length x width: 250x250mm.", "hint.stock": "As on the bottle: 5.25%, 35%.",
	"hint.density": "1.08g/mL, where the label has it.", "hint.name": "For a product on file, what you leave empty stays as it is.",
	"hint.mark": "Punched dots, a notch.", "hint.test": "ATP, coliforms, Listeria spp.", "hint.no_sanitizer": "No sanitizer is on file. A supervisor copies its label on the page Sanitizers.",
	"hint.picture": "Stored small and without the place and time that the camera writes into it.", "hint.at": "18:30, or yesterday 18:30, or 2026-11-24 18:30; the day alone where no more is known. Leave it empty for now.",

	"choice.clear": "Clear", "choice.scattered": "Some clouds", "choice.broken": "Mostly clouds", "choice.overcast": "Overcast",
	"choice.none": "Nothing", "choice.traces": "Traces", "choice.roots": "Roots", "choice.sun": "Sun", "choice.air": "Air", "choice.both": "Both sides", "choice.one": "One side",
	"choice.spray": "Spray", "choice.soak": "Soak", "choice.wipe": "Wipe", "choice.growing": "While growing", "choice.harvest": "At harvest", "choice.washing": "At washing",
	"choice.store": "In store", "choice.pass": "Passed", "choice.fail": "Failed", "choice.cut": "Cut", "choice.mold": "Mold", "choice.wear": "Wear", "choice.yield": "Yield",
	"choice.age": "Age", "choice.lost": "Lost", "choice.other": "Other", "choice.no_solution": "Not a recorded solution", "choice.solution": "%s  %s  %g ppm, good until %s", "choice.label": "The printed label", "choice.farm procedure": "The farm's own procedure",

	"caution.title": "Take care", "caution.mold": "Do not keep a moldy crop; some molds make toxins. The mat goes on hold: look at every mat that the same seed lot touched.",
	"caution.inspect": "Hold it against the light. A clean look is not a clean mat.", "caution.rinse": "Wet floors are slippery: wipe drips at once. Wear gloves.",
	"caution.mist": "Do not breathe sprayed mist. Gloves and eye protection for anything but water; the product's label says whether it may touch a crop at all.",

	"done.title": "What was recorded", "done.accepted": "Recorded.", "done.missed": "Recorded, NOT ACCEPTED.", "done.stays": "A step that is not accepted stays on record and does not move the mat.",
	"done.nopicture": "The step is recorded, but its picture is not:", "done.count": "Mats recorded: %d.", "done.notall": "%d not accepted: they stay where they were.", "done.lost": "Nothing is on record for this code. Set the mat apart until its code can be read:", "done.unknown": "This was recorded some time ago; each mat's history shows it.",

	"many.title": "Many mats", "many.about": "One step for many mats: scan them all, then record once. It is recorded for all of them or for none.",
	"many.start": "Collect by phone camera", "many.scanning": "Collecting: scan a mat with the camera and tap “Put on the list” on its page.", "many.put": "Put on the list", "many.sofar": "Collecting. Mats on the list so far: %d.", "many.stop": "Stop collecting", "many.clear": "Empty the list",
	"many.addone": "Add a mat (scan or type)", "many.add": "Add", "many.count": "Mats on the list: %d", "many.drop": "Take off", "many.which": "Which step?",
	"many.list": "Mats on the list", "many.codes": "Codes of mats", "many.others": "More mats, by their codes", "many.hint": "One a line. A hand scanner writes them here by itself.", "many.added": "On the list. Mats so far: %d.", "many.apply": "That is all: choose the step",

	"history.title": "History of %s", "history.void": "VOID", "history.sent": "sent by", "history.late": "Late entry, written %s.", "history.picture": "Picture with step %s of %s", "history.correct": "Correct",
	"correct.title": "Correct a step of %s", "correct.about": "Nothing is edited or deleted. This voids the step; both stay on record. Then record what really happened, with its time.", "correct.do": "Void this step",

	"mix.title": "Mix a solution", "mix.volume": "How much solution", "mix.volumehint": "500mL, 2L, 1gal.", "mix.strengthhint": "200ppm or 3%. Empty: the middle of the directions.", "mix.stock": "Strength of the stock",
	"mix.stockhint": "As on the bottle: 5.25%. Empty: as on file.", "mix.do": "Work it out", "mix.answer": "Water first, then the stock", "mix.ml": "%.4g mL stock", "mix.grams": "%.4g g granules", "mix.water": "%.0f mL water",
	"mix.gives": "Gives %.0f ppm, counted as %s (%.3g %% by weight). A strip tells the strength; the recipe does not.", "mix.rinse": "Rinse with potable water after the contact time.", "mix.spoons": "With spoons and jugs", "mix.really": "It really gives %s ppm (%s %%).", "mix.just": "It really gives %s ppm.",

	"mix.mixed": "This is what I mixed", "mix.mixedabout": "Record it when it is in the bottle: it gets a code for its tag, and a sanitize step takes product and strength from there.", "mix.record": "Record this bottle", "mix.exact": "The exact amounts",
	"field.amounts": "What was measured", "field.opened": "Day on which the stock was opened", "field.reads": "Nearest color block", "field.blocks": "Distance between the blocks beside it",

	"solution.title": "Solution %s", "solution.one": "Solution", "solution.list": "Solutions on the farm", "solution.none": "No such solution is on file; it may have been poured away. The page Mix lists those that are left.",
	"solution.new": "Write the code on the bottle or print its tag.", "solution.tag": "Print its tag (PDF)", "solution.active": "Active ingredient", "solution.made": "Mixed", "solution.good": "Good until", "solution.until": "Good until %s.",
	"solution.went": "What went in", "solution.computed": "Strength by the recipe", "solution.strip": "Strength by strip", "solution.read": "between %g and %g ppm", "solution.never": "not measured yet", "solution.directions": "The directions ask for",
	"solution.measure": "Read it: a test strip, the temperature, the pH", "solution.water": "Temperature and pH", "solution.waterhint": "Read once, they serve all mats for some hours; chlorine needs both.", "solution.blockshint": "As the strip's package shows them: 50 where it goes 50, 100, 150.", "solution.gone": "Used up or poured away",
	"solution.goneabout": "Record the sanitize steps first. Pour away only what the label and the local sewer or septic rules allow, with plenty of water, and never two products into one drain.", "solution.discard": "It is gone",
	"bottle.good": "good", "bottle.out of date": "out of date", "bottle.no directions": "no directions on file", "bottle.too weak": "too weak", "bottle.too strong": "too strong", "bottle.not measured": "not measured", "bottle.no temperature or pH": "read its temperature and pH", "bottle.unsure": "unsure: the strip can't tell",

	"pool.title": "The pool of mats", "pool.total": "Mats on file: %d", "pool.stages": "By stage", "pool.words": "By verdict, without the retired", "pool.turns": "By turns, without the retired",
	"pool.plan": "Mats for the sowing plan", "pool.about": "Worked out by playing the plan day by day, with the farm's own figures.", "pool.grows": "This is what grows now; change it to what you plan.", "pool.sow": "Sowing plan, one crop a line",
	"pool.sowhint": "radish=3x8 is three sowings a week of eight mats each; pea=2x6:9-11 says its days to harvest.", "pool.mats": "Mats in use", "pool.wash": "Mats that can be washed in a day", "pool.places": "Mats that can hang at one time", "pool.nolimit": "0: no limit.",
	"pool.nodry": "Share of days on which nothing dries", "pool.level": "Chance that is allowed for a week to run short", "pool.do": "Work it out", "pool.figures": "The figures",

	"status.title": "Status of the station", "status.address": "Address", "status.line": "Connection", "status.tls": "encrypted", "status.plain": "not encrypted: keep the farm's Wi-Fi to the farm", "status.records": "Records in the ledger", "status.anchor": "Anchor",
	"status.steps": "Since the start", "status.stepstext": "%d steps recorded, %d requests refused", "status.queue": "Requests waiting", "status.backup": "Scheduled backups", "status.nobackup": "None are made. Whoever looks after the station can give it a folder on another disk for them.",
	"status.failed": "The backup of %s failed.", "status.goeson": "Recording goes on. The station tries again; its terminal says more.", "status.last": "Last good one", "status.holds": "%d records, verified", "status.none": "none yet", "status.file": "File", "status.next": "Next look",
	"status.every": "Every", "status.keep": "the last %d are kept", "status.pictures": "A backup is the ledger. Pictures and pairings lie in the folder beside it: copy that too.",

	"reports.title": "Reports", "reports.view": "View", "reports.pdf": "Print (PDF)", "reports.csv": "Table (CSV)", "reports.hint": "Each carries the ledger's anchor. A report is a record, not a certificate.",

	"review.title": "Review the records", "review.about": "Where the rule applies, records are reviewed, dated and signed by a supervisor within a reasonable time. Read the log first.", "review.log": "The log of cleaning and sanitizing", "review.name": "Your name, where the initials do not say it",
	"review.note": "What you found", "review.anchor": "State of the ledger that you looked at: %s. What is entered later stays open.", "review.do": "I have reviewed these records", "field.from": "First day", "field.to": "Last day",

	"policy.title": "The farm's own limits", "policy.about": "Version %d. Most limits are common practice without a source; they are yours to change, with a reason.", "policy.changed": "changed by the farm", "policy.always": "always", "policy.off": "off", "policy.window": "in the last %g turns", "policy.change": "Change a limit", "policy.range": "From %g to %g; it was shipped as %g.",

	"sanitizers.title": "Sanitizers", "sanitizers.stock": "stock %s", "sanitizers.rinse": "rinse with potable water", "sanitizers.none": "No directions on file: no step with it is accepted.", "sanitizers.add": "Copy a sanitizer's label", "sanitizers.about": "Copy what the printed label says for food-contact surfaces. Its label is the rule; a step is checked against this.",

	"pair.title": "Pair this device", "pair.about": "Enter the code that the station shows on its terminal, or that a supervisor made. It is good for one device and ten minutes.", "pair.code": "Code (8 digits)", "pair.device": "Name of this device", "pair.devicehint": "Sink phone, office tablet.", "pair.do": "Pair",
	"pair.plain":  "This connection is not encrypted: whoever is on the same Wi-Fi can read along. Keep the farm's Wi-Fi to the farm, or start the station with a certificate.",
	"shift.title": "Who is at work?", "shift.about": "Every step is recorded with initials. Pick yours at the start of a shift.", "shift.other": "Other initials", "shift.begin": "Begin",
	"shift.leaving": "Leaving?", "shift.end": "End the shift of %s", "shift.endabout": "The device stays paired, and the initials are free for another device.",
	"shift.leave": "Log this device out", "shift.leaveabout": "To use it again it has to be paired with a fresh code. Steps that wait on it for the network stay on it until then.",
	"people.title": "People and devices", "people.code": "Code for one %s's device:", "people.codehint": "Open %s/pair on that device within ten minutes. The code is shown only now.", "people.operator": "Code for an operator", "people.supervisor": "Code for a supervisor",
	"people.devices": "Paired devices", "people.self": "this device", "people.times": "Paired %s, last seen %s.", "people.revoke": "Revoke", "people.door": "Door sign (PDF)",
	"door.line1": "Point the phone's camera here and open the page.", "door.line2": "Then ask for a pairing code.", "door.name": "Many devices open it under %s too.",
}
