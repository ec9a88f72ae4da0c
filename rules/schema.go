package rules

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"

	"probable/engine"
	"probable/engine/circuit"
)

// Schema is a JSON Schema (draft 2020-12) as encoding/json writes it.
type Schema map[string]any

// SchemaKinds are the kinds of files that have a schema.
var SchemaKinds = []string{"guide", "part", "harness", "cases"}

// Schema returns the schema of a kind of file. Its lists of words are those that
// the readers go by, its kinds of parts, guides and sources those of this base. A
// schema cannot say all that a reader knows: that rows sum to one, that outcomes
// cover every reading once, and that what is named is there.
func (b *Base) Schema(kind string) (Schema, error) {
	s := schemas{b}
	var out Schema
	switch kind {
	case "guide":
		out = s.guide()
	case "part":
		out = s.part()
	case "harness":
		out = s.harness()
	case "cases":
		out = s.cases()
	default:
		return nil, fmt.Errorf("there is no schema %q%s", kind, oneOf(kind, SchemaKinds))
	}
	out["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	out["$id"] = "urn:probable:" + kind
	return out, nil
}

// schemas makes schemas over the words of a base.
type schemas struct{ b *Base }

// with returns the schema with a description.
func (s Schema) with(description string) Schema {
	out := maps.Clone(s)
	out["description"] = description
	return out
}

// object is a mapping with these keys only.
func object(description string, required []string, keys Schema) Schema {
	out := Schema{"type": "object", "description": description, "properties": keys, "additionalProperties": false}
	if len(required) > 0 {
		out["required"] = required
	}
	return out
}

// mapOf is a mapping of any names to values of one kind.
func mapOf(values Schema) Schema { return Schema{"type": "object", "additionalProperties": values} }

func listOf(items Schema) Schema { return Schema{"type": "array", "items": items} }

// several is a list of at least one item.
func several(items Schema) Schema { return Schema{"type": "array", "items": items, "minItems": 1} }

// tuple is a list of so many items.
func tuple(items Schema, n int) Schema {
	return Schema{"type": "array", "items": items, "minItems": n, "maxItems": n}
}

// oneOrMore is one value or a list of them.
func oneOrMore(item Schema) Schema { return Schema{"anyOf": []Schema{item, several(item)}} }

func matching(form *regexp.Regexp) Schema { return Schema{"type": "string", "pattern": form.String()} }

// among is one of the words; any text if there are none.
func among(words []string) Schema {
	if len(words) == 0 {
		return anyText
	}
	return Schema{"enum": words}
}

// between is a number of a closed range; an end may be infinite.
func between(low, high float64) Schema {
	out := Schema{"type": "number"}
	if !math.IsInf(low, 0) {
		out["minimum"] = low
	}
	if !math.IsInf(high, 0) {
		out["maximum"] = high
	}
	return out
}

// when is a rule: where the first holds the second must too.
func when(condition, then Schema) Schema { return Schema{"if": condition, "then": then} }

// has is the condition that a key is there and one of the words.
func has(key string, words ...string) Schema {
	return Schema{"required": []string{key}, "properties": Schema{key: Schema{"enum": words}}}
}

// needs is the rule that keys are there.
func needs(keys ...string) Schema { return Schema{"required": keys} }

// only is the rule that there are no other keys.
func only(keys ...string) Schema { return Schema{"propertyNames": Schema{"enum": keys}} }

// without is the rule that a key is absent.
func without(key string) Schema { return Schema{"properties": Schema{key: false}} }

var (
	anyText    = Schema{"type": "string"}
	number     = Schema{"type": "number"}
	yesNo      = Schema{"enum": []any{true, false, "yes", "no"}}
	formula    = Schema{"type": []string{"number", "string"}} // in part files
	condition  = Schema{"type": []string{"string", "boolean"}}
	pinText    = Schema{"type": "string", "pattern": `^[^.]+\..+$`}
	idText     = matching(idForm)
	nameText   = matching(nameForm)
	otherGuide = Schema{"type": "string", "pattern": "^.+ / .+$"}
)

func version(read int) Schema {
	return Schema{"const": read, "description": "The version of the language that the file is written in."}
}

func (s schemas) source() Schema {
	var ids []string
	for _, x := range s.b.Sources {
		ids = append(ids, x.ID)
	}
	return among(append([]string{"practice", "memory"}, ids...)).with("Where the figures come from: an id of sources.yaml, practice (common practice, no source) or memory (recalled from a named publication, not read again).")
}

// settings returns the settings of all kinds of parts.
func (s schemas) settings() []string {
	var words []string
	for kind := range s.b.parts {
		for _, x := range s.b.Part(kind).settings {
			words = append(words, x.name)
		}
	}
	return slices.Compact(sorted(words))
}

// shown returns the words for what parts show.
func (s schemas) shown() []string {
	var words []string
	for kind := range s.b.parts {
		for _, in := range s.b.Part(kind).indicators {
			words = append(words, in.Words()...)
		}
	}
	return slices.Compact(sorted(words))
}

func (s schemas) guide() Schema {
	kinds := among(s.b.Kinds())
	setting := among(s.settings())
	checkIDs := listOf(idText)
	rows := Schema{"type": "object", "additionalProperties": listOf(between(0, 1)),
		"description": "The chance of each outcome under each cause, in the order of the outcomes; every row sums to 1. A row is named by a cause, by a trait of causes or \"otherwise\".",
		"propertyNames": Schema{"if": Schema{"pattern": "^trait "}, "then": Schema{"enum": prefixed("trait ", traits)},
			"else": Schema{"pattern": idForm.String()}}}
	use := otherGuide.with("What another guide has, as GUIDE / ID, with all its words.")
	odds := between(leastOdds, mostOdds).with("How often it is this one, relative to all other causes of all guides and parts; a wire open is 4.")
	prove := several(idText).with("The checks of this guide that prove the repair.")
	causeTraits := oneOrMore(among(traits)).with("What sort of cause it is; tables may speak of a sort.")
	causeWhen := condition.with("A condition over the facts; false: no cause of this vehicle.")

	cause := object("A fault hypothesis, or one that another guide has.", nil, Schema{
		"use":         use,
		"id":          idText.with("The cause's name in this guide."),
		"say":         anyText.with("The cause in a sentence."),
		"odds":        odds,
		"source":      s.source(),
		"repair":      anyText.with("What to do, and what not to do, short and imperative."),
		"same_repair": anyText.with("Causes with the same text here count as one repair."),
		"prove":       prove,
		"kills":       anyText.with("What kills the part or module while one works on it."),
		"hurts":       anyText.with("What can hurt the person."),
		"traits":      causeTraits,
		"when":        causeWhen,
		"hand_off":    among(s.b.GuideIDs()).with("The guide whose causes take the place of this one once it leads."),
		"stands_for":  listOf(anyText).with("Patterns of causes that a harness computes by itself and that take the place of this one; * stands for anything, {role} for the part's name."),
	})
	cause["if"] = needs("use")
	cause["then"] = only("use", "odds", "source", "prove", "traits", "when")
	cause["else"] = needs("id", "say", "odds", "source", "repair", "prove", "kills", "hurts")

	outcome := object("One way that the check can come out.", []string{"id"}, Schema{
		"id":   idText.with("The outcome's name; of other checks than readings it is the answer."),
		"say":  anyText.with("The outcome in words, limits with their unit."),
		"when": condition.with("Of a reading: a condition over v (the reading in V, ohm or A), over (over-range) and the facts. The outcomes of a check cover every reading once."),
	})
	check := object("One thing to do, or one that another guide has.", nil, Schema{
		"use":            use,
		"id":             idText.with("The check's name in this guide."),
		"mode":           among(modes).with("What is done: a reading of the meter, a look, a question, moving wires, a swap with a known-good part."),
		"power":          among(powers).with("off: pack unplugged; live; limited: through a current limit. Ohms, continuity and diode want off."),
		"say":            anyText.with("What to do and where the leads go, in one to three short sentences."),
		"why":            anyText.with("What the check tells apart, in a sentence."),
		"red":            anyText.with("Where the red lead goes."),
		"black":          anyText.with("Where the black lead goes."),
		"state":          anyText.with("What must be switched on."),
		"minutes":        between(leastMinutes, mostMinutes).with("How long it takes."),
		"access":         Schema{"enum": []int{0, 1, 2, 3}, "description": "0 nothing to open, 1 a cover or plug, 2 tape or heat-shrink, 3 dismantling."},
		"risk":           object("The chance of harm when done as told, 0 to 1.", nil, Schema{"module": between(0, 1).with("To the module."), "person": between(0, 1).with("To the person.")}),
		"jumper":         among(jumpers).with("What a jumper is put to, if one is."),
		"source":         s.source(),
		"cautions":       oneOrMore(anyText).with("What to mind; live and swap checks need it."),
		"after":          checkIDs.with("Checks that must have been made, and read well, before this one is offered."),
		"stress":         checkIDs.with("Checks that ask the same under load, warm or while moved, where a good reading can lie."),
		"warm":           yesNo.with("It is made right after a run, while what heats is warm; a proof has it after the checks that are a run."),
		"measures":       among(measured).with("What a wiggle or swap measures meanwhile; its outcomes then have conditions too, all but the last: of a wiggle over low and high, of a swap over old_low, old_high, good_low, good_high and alike."),
		"sweep":          oneOrMore(anyText).with("Of a swap that measures: the positions in which both parts are measured."),
		"proves":         anyText.with("Of a swap: what it proves."),
		"does_not_prove": anyText.with("Of a swap: what it leaves open."),
		"when":           condition.with("A condition over the facts and what was learned: answer(\"check\"), reading(\"check\"), taken(\"check\"), setting(\"role\"). False: not offered."),
		"good":           idText.with("The outcome of a healthy vehicle."),
		"outcomes":       Schema{"type": "array", "items": outcome, "minItems": 2, "maxItems": maxOutcomes, "description": "How it can come out."},
		"table":          rows,
		"computed": object("How a harness computes the check for its own causes.", []string{"red", "black"}, Schema{
			"red":   pinText.with("Where the red lead goes, as role.pin."),
			"black": pinText.with("Where the black lead goes, as role.pin."),
			"state": mapOf(setting).with("The setting of each role's part."),
		}),
	})
	readings := needs("outcomes")
	readings["properties"] = Schema{"outcomes": Schema{"items": needs("when")}}
	numeric, words := []string{}, []string{}
	off := []string{}
	for _, m := range modes {
		if engine.Mode(m).Numeric() {
			numeric = append(numeric, m)
		} else {
			words = append(words, m)
		}
		if (engine.Gate{Qualified: true}).Refuse(&engine.Model{}, &engine.Check{Mode: engine.Mode(m), Power: engine.Live}, 0) != "" {
			off = append(off, m)
		}
	}
	check["if"] = needs("use")
	check["then"] = only("use", "table", "source")
	check["else"] = Schema{
		"required":   []string{"id", "mode", "power", "say", "why", "minutes", "source"},
		"anyOf":      []Schema{needs("outcomes", "table"), needs("computed")},
		"properties": Schema{"table": needs("otherwise")},
		"allOf": []Schema{
			when(Schema{"allOf": []Schema{has("mode", numeric...), needs("outcomes")}}, readings),
			when(Schema{"allOf": []Schema{has("mode", words...), {"not": needs("measures")}}}, Schema{"properties": Schema{"outcomes": Schema{"items": without("when")}}}),
			when(needs("measures"), has("mode", string(engine.Wiggle), string(engine.Swap))),
			when(needs("sweep"), needs("measures")),
			when(has("mode", string(engine.Continuity)), Schema{"properties": Schema{"outcomes": Schema{"items": Schema{"properties": Schema{
				"id": Schema{"enum": []string{engine.Beep, engine.NoBeep}}}}}}}),
			when(has("mode", off...), Schema{"properties": Schema{"power": Schema{"const": string(engine.Off)}}}),
			when(has("mode", string(engine.VoltsDC)), Schema{"properties": Schema{"power": Schema{"not": Schema{"const": string(engine.Off)}}}}),
			when(has("mode", string(engine.Swap)), needs("proves", "does_not_prove", "after", "cautions")),
			when(Schema{"allOf": []Schema{has("power", string(engine.Live), string(engine.Limited)), {"not": has("mode", string(engine.Ask))}}}, needs("cautions")),
		},
	}

	fact := object("A fact of the vehicle that is known before the first check.", []string{"kind", "ask", "default"}, Schema{
		"kind":    among(factKinds).with("yes_no, a number, or a choice of words."),
		"ask":     anyText.with("The question for it."),
		"unit":    anyText.with("Of a number: its unit."),
		"from":    number.with("Of a number: the least."),
		"to":      number.with("Of a number: the most."),
		"of":      several(anyText).with("Of a choice: its words."),
		"default": Schema{"type": []string{"number", "string", "boolean"}, "description": "What is taken where nobody knows."},
		"supply":  anyText.with("The role of the supply whose volts it is."),
	})
	fact["allOf"] = []Schema{
		when(has("kind", factNumber), Schema{"required": []string{"from", "to"}, "properties": Schema{"default": number, "of": false}}),
		when(has("kind", factYesNo), Schema{"properties": Schema{"default": yesNo, "of": false, "from": false, "to": false}}),
		when(has("kind", factChoice), Schema{"required": []string{"of"}, "properties": Schema{"from": false, "to": false}}),
	}
	factNames := Schema{"pattern": factForm.String(), "not": Schema{"enum": ownWords}}

	template := among(slices.Sorted(maps.Keys(s.b.templates)))
	out := object("A guide: one symptom, its causes, and the checks that tell them apart; or, with \"extends\", what is added to a guide.", nil, Schema{
		"guide":   idText.with("The guide's name: what the person sees."),
		"extends": idText.with("The guide that this file adds to; what it gives by an id that the guide has stands for that."),
		"version": version(guideVersionRead),
		"shared":  yesNo.with("It is no symptom; other guides use what is in it."),
		"about":   anyText.with("What the person sees, in a sentence or two."),
		"applies": object("Which symptoms of a harness the guide joins.", []string{"kind", "shows"}, Schema{
			"kind":  kinds.with("A kind of part."),
			"shows": oneOrMore(among(s.shown())).with("What such a part shows."),
		}),
		"roles":        mapOf(kinds).with("Names of parts for computed checks and stands_for, each with its kind."),
		"cautions":     oneOrMore(anyText).with("Shown once, at the start."),
		"holds_charge": tuple(anyText, 2).with("The two places between which a charge stays, in words."),
		"facts":        Schema{"type": "object", "propertyNames": factNames, "additionalProperties": fact, "description": "Facts of the vehicle."},
		"template": Schema{"description": "The harness that checks are computed from where the user has none.", "anyOf": []Schema{template,
			object("With keys of its parts that take the value of a fact.", []string{"harness"}, Schema{
				"harness": template.with("Its name."), "set": mapOf(anyText).with("The fact by part.key.")})}},
		"causes": several(cause).with("What may be at fault."),
		"checks": several(check).with("What can be done to find it."),
	})
	out["title"] = "Guide"
	out["if"] = needs("extends")
	out["then"] = Schema{"required": []string{"extends", "version"}, "propertyNames": Schema{"enum": append([]string{"extends", "version"}, extended...)}}
	out["else"] = needs("guide", "version", "about", "causes", "checks")
	return out
}

// measured are the modes that a wiggle or a swap can measure by meanwhile.
var measured = []string{string(engine.VoltsDC), string(engine.Ohms), string(engine.AmpsDC)}

// prefixed returns the words with a prefix.
func prefixed(prefix string, words []string) []string {
	var out []string
	for _, w := range words {
		out = append(out, prefix+w)
	}
	return out
}

func (s schemas) part() Schema {
	pair := tuple(anyText, 2)
	pair["uniqueItems"] = true
	distinct := Schema{"anyOf": []Schema{anyText, {"type": "array", "items": anyText, "minItems": 1, "uniqueItems": true}}}
	value := object("New values for an element.", nil, Schema{
		"ohms": formula.with("Its resistance in ohm."), "volts": formula.with("Its voltage in V."), "gain": formula.with("Its gain."), "cut": yesNo.with("It is gone."),
	})
	set := mapOf(value).with("New values by element.")
	bridge := listOf(pair).with("Pairs of pins that 10 mohm join.")
	threshold := object("When the element is there.", []string{"between"}, Schema{
		"between": pair.with("Two pins; the voltage from the second to the first."), "above": formula.with("Above so many V."), "below": formula.with("Below so many V."),
	})
	threshold["anyOf"] = []Schema{needs("above"), needs("below")}
	keys := Schema{
		"id":             nameText.with("The element's name in this part."),
		"of":             pair.with("Of a follower: the pins whose voltage it follows."),
		"mirrors":        anyText.with("Of a mirror: the element before it whose current it draws."),
		"ohms":           formula.with("Its resistance in ohm."),
		"off_ohms":       formula.with("Its resistance while \"when\" does not hold."),
		"cold_ohms":      formula.with("What ohms, continuity and diode tests see."),
		"cold_tolerance": formula.with("How well that is known, a fraction."),
		"volts":          formula.with("Of a source: its voltage in V."),
		"gain":           formula.with("Of a follower or mirror: the share or multiple."),
		"limit":          formula.with("Of a source: it delivers 0 to so many A and takes none."),
		"blows":          formula.with("A fuse of so many A."),
		"tolerance":      formula.with("A fraction, two standard deviations."),
		"supply":         yesNo.with("It is unplugged when the power is off."),
		"drop":           formula.with("Of a diode: its drop in V at \"at_amps\"."),
		"at_amps":        formula.with("The current in A of that drop."),
		"ideality":       formula.with("Of a diode: its ideality factor; 1 unless given."),
		"when":           Schema{"anyOf": []Schema{threshold, listOf(threshold)}, "description": "A condition on voltages, or several that must all hold."},
	}
	var types []Schema
	for _, t := range elementTypes {
		keys[t.key] = pair.with("A " + t.key + " between these pins.")
		types = append(types, needs(t.key))
	}
	element := object("What lies between two pins.", []string{"id"}, keys)
	element["oneOf"] = types
	element["allOf"] = []Schema{
		when(needs("diode"), needs("drop", "at_amps")),
		when(needs("mirror"), needs("mirrors")),
		when(needs("follower"), needs("of")),
		when(Schema{"not": Schema{"anyOf": []Schema{needs("diode"), needs("mirror")}}}, needs("ohms")),
	}
	key := object("A value that a harness gives such a part.", []string{"about"}, Schema{
		"unit": anyText.with("Its unit."), "about": anyText.with("What it is."), "source": s.source(),
		"from": number.with("The least that is possible."), "over": number.with("What it must exceed, in place of \"from\"."), "to": number.with("The most that is possible."),
		"default": number.with("What is taken where the harness does not say; without it the harness must."),
		"whole":   yesNo.with("A whole number."), "yes_no": yesNo.with("A yes or a no."),
	})
	key["anyOf"] = []Schema{needs("yes_no"), {"required": []string{"to"}, "oneOf": []Schema{needs("from"), needs("over")}}}
	band := object("A word for what is shown, up to a limit.", []string{"is"}, Schema{"under": formula.with("Below so much; the last band has none."), "is": anyText.with("The word.")})
	shows := object("Something that one can see on the part.", []string{"bands"}, Schema{
		"id": anyText.with("Its name where the part shows more than one thing."), "watts": anyText.with("The element whose power shows."),
		"amps": anyText.with("The element whose current shows."), "volts": pair.with("The pins whose voltage shows."),
		"per": formula.with("The bands are in multiples of this."), "bands": Schema{"type": "array", "items": band, "minItems": 2, "description": "From the lowest up."},
	})
	shows["oneOf"] = []Schema{needs("watts"), needs("amps"), needs("volts")}
	ohms := tuple(between(leastAddOhms, mostAddOhms), 2)
	variant := object("One form of the failure.", nil, Schema{"set": set, "bridge": bridge})
	failure := object("A way to fail.", []string{"mode", "odds", "source", "repair"}, Schema{
		"mode":         anyText.with("Its name; causes are called \"part NAME MODE\"."),
		"odds":         between(0, mostOdds).with("How often, relative to all causes; a wire open is 4."),
		"changed_odds": between(0, mostOdds).with("The odds where somebody changed the plug by hand."),
		"source":       s.source(),
		"repair":       anyText.with("What to do."),
		"cautions":     oneOrMore(anyText).with("What to mind while doing it."),
		"says":         mapOf(anyText).with("What the part shows whatever the circuit does, by what it shows."),
		"add_ohms":     Schema{"description": "Added resistance, lowest and highest in ohm, in an element.", "anyOf": []Schema{ohms, {"type": "object", "additionalProperties": ohms, "minProperties": 1, "maxProperties": 1}}},
		"times_ohms":   tuple(between(1, mostTimesOhms), 2).with("Of a wire: its own resistance so many times, lowest and highest."),
		"set":          set,
		"bridge":       bridge,
		"variants":     listOf(variant).with("Forms of the failure that are as likely."),
		"spread":       yesNo.with("Anything between two neighbouring variants can be."),
	})
	out := object("A kind of part: its pins, what lies between them, and how it fails.", []string{"part", "version", "about", "failures"}, Schema{
		"part":          nameText.with("The kind's name."),
		"version":       version(Version),
		"about":         anyText.with("What the part is taken for."),
		"source":        s.source(),
		"pins":          distinct.with("Its pins."),
		"inner":         distinct.with("Pins inside it, where no wire goes and no probe reaches."),
		"optional":      Schema{"description": "Pins that builders often leave bare; a list in the list is a group that is wired whole or not at all.", "anyOf": []Schema{anyText, listOf(oneOrMore(anyText))}},
		"keys":          mapOf(key).with("What a harness says of such a part."),
		"elements":      listOf(element).with("What lies between its pins."),
		"settings":      mapOf(set).with("What it can be set to."),
		"rest":          anyText.with("The setting that it has by itself."),
		"shows":         listOf(shows).with("What one can see on it."),
		"failures":      listOf(failure).with("How it fails."),
		"driven":        yesNo.with("It turns the driven wheel or asks for it."),
		"holds_charge":  pair.with("The pins of a capacitor that stays charged."),
		"highest_volts": formula.with("Of a supply: its voltage when full."),
		"wire":          yesNo.with("Only of the kind wire."),
		"ways":          yesNo.with("Only of connectors: pins 1a, 1b and so on."),
		"splice":        yesNo.with("It joins the wires that go to it."),
		"bars":          yesNo.with("Of a splice: it has several bars, pins BAR_JOINT."),
	})
	out["title"] = "Kind of part"
	out["dependentRequired"] = Schema{"settings": []string{"rest"}, "rest": []string{"settings"}, "bars": []string{"splice"}}
	return out
}

func (s schemas) harness() Schema {
	kinds := s.b.Kinds()
	defs := Schema{}
	var rules []Schema
	for _, kind := range kinds {
		p := s.b.Part(kind)
		var required []string
		keys := Schema{"kind": true}
		for _, k := range p.Keys {
			value := yesNo
			if !k.YesNo {
				value = between(k.Low, k.High)
				if k.OverLow {
					delete(value, "minimum")
					value["exclusiveMinimum"] = k.Low
				}
				if k.Whole {
					value["type"] = "integer"
				}
			}
			about := k.About
			if k.Unit != "" {
				about += ", in " + k.Unit
			}
			if k.Default == nil {
				required = append(required, k.Name)
			} else if !k.YesNo {
				value["default"] = *k.Default
			}
			keys[k.Name] = value.with(about)
		}
		defs[kind] = object(p.About, required, keys)
		rules = append(rules, when(has("kind", kind), Schema{"$ref": "#/$defs/" + kind}))
	}
	part := Schema{"type": "object", "required": []string{"kind"}, "allOf": rules,
		"properties": Schema{"kind": among(kinds).with("What kind of part it is; the kind says which keys it has.")}}
	gauge := Schema{"type": "string", "pattern": `^\s*[0-9./]+ +(AWG|mm2)\s*$`, "examples": circuit.GaugeSizes()}
	wire := object("A wire from pin to pin.", []string{"name", "from", "to"}, Schema{
		"name":   nameText.with("Its name."),
		"from":   pinText.with("The pin at one end, as part.pin; of a connector 1a is way 1 on side a."),
		"to":     pinText.with("The pin at the other end."),
		"gauge":  gauge.with("Its gauge, as in \"20 AWG\" or \"0.5 mm2\"; " + defaultGauge + " unless given."),
		"metres": between(leastMetres, mostMetres).with(fmt.Sprintf("Its length; %g unless given.", defaultMetres)),
		"colour": anyText.with("Its colour."),
	})
	out := object("The wiring of one vehicle or of a part of it.", []string{"harness", "ground", "parts"}, Schema{
		"harness":   anyText.with("What it is the wiring of."),
		"version":   version(Version),
		"about":     anyText.with("Anything that a reader should know."),
		"celsius":   between(leastCelsius, mostCelsius).with(fmt.Sprintf("How warm the wires are; %d unless given.", defaultCelsius)),
		"ground":    pinText.with("The pin that the black lead rests on."),
		"parts":     Schema{"type": "object", "description": "The parts by name.", "propertyNames": nameText, "maxProperties": maxParts, "additionalProperties": part},
		"wires":     Schema{"type": "array", "description": "The wires.", "items": wire, "maxItems": maxWires},
		"no_access": listOf(pinText).with("Pins that a probe cannot reach."),
		"states":    mapOf(mapOf(among(s.settings()))).with("Settings of parts by the name of the state; what is not named rests."),
		"symptoms": listOf(object("Something that can be seen to be wrong.", []string{"id", "shows"}, Schema{
			"id":             anyText.with("Its name."),
			"state":          anyText.with("The state that it shows in."),
			"shows":          Schema{"type": "object", "minProperties": 1, "additionalProperties": oneOrMore(among(s.shown())), "description": "What each part does, one word or several."},
			"guide":          among(s.b.GuideIDs()).with("The guide that joins it."),
			"comes_and_goes": yesNo.with("Whether it is there only at times: then a loose contact is thought of, and things are flexed."),
		})).with("What can be seen to be wrong."),
	})
	out["title"] = "Harness"
	out["$defs"] = defs
	return out
}

func (s schemas) cases() Schema {
	play := object("A worked case: a cause that is hidden, or readings that were taken, and the verdict.", []string{"id", "about", "verdict"}, Schema{
		"id":        idText.with("Its name, once in the file."),
		"about":     anyText.with("What happened."),
		"cause":     anyText.with("The hidden cause: each check gets the answer that is likeliest under it. Without one all that is asked stands in \"readings\"."),
		"facts":     mapOf(Schema{"type": []string{"number", "string", "boolean"}}).with("Facts of the vehicle that are not as usual."),
		"readings":  mapOf(Schema{"type": []string{"number", "string", "array"}, "items": Schema{"type": "number"}}).with("What was read or answered by check: a number in V, ohm or A, OL, an outcome's id, the several numbers that a check wants, or skip."),
		"verdict":   several(anyText).with("Causes that must stand in the verdict."),
		"ends":      among(caseEnds).with("alone: no cause of another repair stands in the verdict; listed: others may."),
		"at_most":   Schema{"type": "integer", "minimum": 1, "maximum": 200, "description": "The most checks that it may take."},
		"qualified": yesNo.with("The person is qualified to work on live parts above 60 V DC."),
	})
	play["anyOf"] = []Schema{needs("cause"), needs("readings")}
	out := object("Worked cases of a guide.", []string{"cases", "version", "play"}, Schema{
		"cases":   among(s.b.GuideIDs()).with("The guide."),
		"version": version(Version),
		"play":    several(play).with("The cases."),
	})
	out["title"] = "Worked cases"
	return out
}
