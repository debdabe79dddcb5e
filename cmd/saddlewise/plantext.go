package main

import "text/template"

var planFuncs = template.FuncMap{"number": func(i int) int { return i + 1 }}

var planTemplate = template.Must(template.New("plan").Funcs(planFuncs).Parse(`# What to record before {{.Next}}

Folder for the takes: ` + "`{{.Stage}}`" + `. String 1 is the highest.

## Before you plug in

- [ ] Monitors down, phantom power off, input gain down. A tapped, dropped or
      heated piezo disc makes tens of volts or more: touch its leads together
      before you plug in.
- [ ] Eye protection when strings are under tension.
- [ ] Pickup into the instrument (high-impedance) input, the cable you will
      play with, nothing between.
- [ ] Computer on battery if you can. Never lift a protective earth; have mains
      wiring and amplifiers looked at by a qualified electrician.
- [ ] Recorder: WAV, 24 bits, 48 kHz or more. Automatic gain, noise gate and
      every "voice" mode off.

## Gain

- [ ] Tap the loudest saddle as hard as you will. Set the gain so that it
      peaks between -20 and -10 dB. Leave it there for every take, and write
      it down for the next stage.

## Silence (10 s each)

- [ ] quiet.wav: nothing touched
- [ ] quiet-hand.wav: one hand on the jack's sleeve or the strings

## Taps: two short takes a string, six or more single taps each

Let a light ball or an eraser fall from a fixed height on the top of the
saddle, beside the string, and catch it, or tap with one fingertip and lift it
at once. Same tool, spot and height on every saddle; a second between taps;
damp the strings with a cloth. Taps differ by about 2 dB whatever you do: six
tell 3 dB apart, twelve in two takes tell 2 dB. Two takes show more than one
long one, because all taps of a take share one mood.
{{range $i, $n := .Notes}}
- [ ] tap-{{number $i}}.wav and tap-{{number $i}}-second.wav ({{$n.Name}}){{end}}

## Plucks: three a string, left to ring

Pluck the open string with the flesh of a finger at one place, let it ring
until you cannot hear it, damp the other strings.
{{range $i, $n := .Notes}}
- [ ] pluck-{{$n.Name}}.wav (string {{number $i}}){{end}}

## Tuning fork ({{.ToneHz}} Hz): three strikes a string

Strike it on your knee, wait a second for the clang to die, set the stem on
the saddle and hold it still for three seconds. Press lightly, always alike.
{{range $i, $n := .Notes}}
- [ ] tone-{{number $i}}.wav{{end}}

## Then

- [ ] saddlewise check {{.Stage}}
- [ ] saddlewise analyze {{.Stage}}

Before {{.Next}}: fast epoxy heats up and expands, in a flooded pocket most of
all. Thin layers, gloves, eye protection, ventilation, away from skin; the
product's safety sheet comes first. Solder: ventilate, mind lead and the hot
iron, no flame near heat shrink and solvents.
`))

var buildTemplate = template.Must(template.New("build").Parse(`name = ""

[instrument]
strings = [{{.List}}]
a4_hz = 440.0

[pickup]
# Take out the # where you know better than the default (common practice).
# discs = {{len .Notes}}
# wiring = "parallel"
# disc_nf = 20.0
# cable_pf = 300.0
# input_ohm = 1e6

[limits]
# balance_db = 3.0
`))

var stageTemplate = template.Must(template.New("stage").Parse(`stage = "{{.Stage}}"
next_step = "{{.Next}}"
notes = ""

[capture]
reference_tone_hz = {{printf "%.1f" .ToneHz}}
# full_scale_volts = 0.0

# Files whose name does not say what they are:
# [[take]]
# file = "memo 014.wav"
# test = "tap"
# string = 2
`))
