package leak_test

// The two halves of the sample. The held-out half has other templates, another seed and two further locales; its misses are for counting only.

func tuning() half {
	return half{name: "tuning", seed: 4101, locales: tuningLocales,
		frames: map[string]map[string][]string{
			"en": {
				"name":     {"{} was late today, started without the nose clip", "second attempt, {} coughed", "asked {} to breathe out slower", "sample taken by the window because {} felt faint"},
				"original": {"label on the box: {}", "signed {} on the sheet"},
				"birth":    {"born {}, checked at the desk", "dob {} ok"},
				"phone":    {"call back on {} after lunch", "left a message, tel {}"},
				"mail":     {"send the leaflet to {}", "wants results at {}"},
				"street":   {"lives at {}, came by bus", "taxi from {}"},
				"postal":   {"came all the way from {}", "post to {} please"},
				"record":   {"file {} pulled from the archive", "wristband said {}"},
				"coded":    {"export tag {} seen on screen", "header: {}"},
			},
			"de": {"name": {"{} kam zu spät, Maske neu angepasst", "zweiter Versuch mit {}"}, "birth": {"geboren am {}", "Geb. {}"}, "phone": {"bitte zurückrufen: {}"}, "street": {"wohnt {}"}},
			"fr": {"name": {"{} a toussé pendant l'essai", "vu avec {} ce matin"}, "birth": {"né(e) le {}"}, "phone": {"rappeler au {}"}, "street": {"habite {}"}},
			"nl": {"name": {"{} was wat benauwd", "afspraak met {} verzet"}, "birth": {"geboren {}"}, "phone": {"terugbellen op {}"}},
			"sv": {"name": {"{} hade svårt att andas lugnt", "ny tid för {}"}, "birth": {"född {}"}, "phone": {"ring {}"}},
			"es": {"name": {"{} llegó tarde", "repetido con {}"}, "birth": {"nacido el {}"}, "phone": {"llamar al {}"}},
			"it": {"name": {"{} ha tossito", "ripetuto con {}"}, "birth": {"nato il {}"}, "phone": {"richiamare {}"}},
			"pt": {"name": {"{} chegou atrasado", "repetir com {}"}, "birth": {"nascido em {}"}, "phone": {"ligar para {}"}},
			"pl": {"name": {"{} kaszle przy próbie", "druga próba, {}"}, "birth": {"ur. {}"}, "phone": {"oddzwonić {}"}},
		},
		kin: []string{"referred by Dr {}", "Mrs {} waited outside", "his wife Anna {} drove", "Frau {} hat unterschrieben", "Mme {} accompagne", "Sig. {} ha firmato", "Sra. {} firmó", "daughter Ruth {} phoned", "mevrouw {} belde", "pani {} czekała"},
		odd: map[string][]string{
			"e-mail": {"mail {} for the form", "cc {}"}, "URL": {"see {} for the booking", "link {}"}, "handle": {"posted about it as {}", "find me at {}"},
			"phone": {"daughter's phone {}", "ring {} first", "{} no answer"}, "phone, few digits": {"tel. {} evenings", "call {} when done"},
			"IP": {"laptop was at {} then", "server {} refused"}, "MAC": {"phone paired, {}"}, "age over 89": {"subject is {} years old", "aged {}, sat down", "{}-year-old, slow"},
			"date": {"operated on {}", "last visit {} elsewhere"}, "street": {"pick up at {}", "moved to {}"}, "plate": {"parked, plate {}", "car {} in the yard"},
			"insurance number": {"insurance no. {}", "policy number {}"}, "account number": {"account no. {} for the refund", "Kontonummer {}"},
			"NHS number": {"NHS {} on the letter", "letter says {}"}, "SSN": {"ssn {}", "card reads {}"}, "NIR": {"carte vitale {}", "noted {}"},
			"Steuer-ID": {"Steuer-ID {}", "IdNr. {}"}, "DNI": {"DNI {}", "showed {} at the desk"}, "BSN": {"BSN {}", "burgerservicenummer {}"}, "personnummer": {"personnummer {}", "legitimation {}"},
			"SIN": {"SIN {}", "form has {}"}, "CPF": {"CPF {}", "documento {}"}, "NPI": {"NPI {}", "provider id {}"}, "IBAN": {"refund to {}", "IBAN {}"}, "card": {"paid with {}", "card {}"}, "VIN": {"car {}", "VIN {}"},
		},
		clean: []string{
			"tube {tube} fitted, flow 2?0 ml/min", "{tube} and {tube} swapped, ok", "calibration lot {lot} opened", "sampler {serial} restarted twice", "CO2 end tidal 4.# kPa, rate 1# /min",
			"firmware 2.1?.# installed", "may repeat in 1? minutes", "long breath hold, best of three", "the price of the clip went up", "room 3.1# too warm, 2# °C", "started 10:?5, done 11:0?",
			"LARK-2 protocol step ? done", "site 0? uses the old mask", "on salbutamol 100 µg, last puff 6 h ago", "left lung clear, wheeze over the right base", "VAS ?/10 before, ?/10 after",
			"height 17# cm, weight 7# kg", "subject aged 6#, no cough", "FEV1 2.## l (8# %)", "pressure 101# hPa, humidity 4# %", "Best attempt was the second", "Long exhalation, no leak", "Price tag removed from the mask", "May need a second tube",
			"Maske sitzt gut, Atmung ruhig", "Raum ?, Fenster offen", "patient à jeun depuis ? h", "pas de toux ce matin", "geen klachten, rustig geademd", "inga besvär, andades lugnt", "respira bien, sin tos", "respiro regolare, nessuna tosse", "sem tosse, respirou bem", "oddech spokojny, bez kaszlu",
			"valve 1# of 2# changed", "volume 500 ml x 2", "O2 sat 9# % on air", "breath 1 to 2# used", "nose clip slipped at 0:4?", "pump 12.? V, 0.?? A", "sorbent Tenax 200 mg, purge 1? min", "sample bag 3 l, leak test 0.0? kPa", "budesonide and formoterol as usual", "drank water 3? min before", "blank run before, room air 4## ppm CO2", "repeat visit in 4 weeks", "chest x-ray normal", "10 breaths, 1? s apart",
		}}
}

func heldOut() half {
	return half{name: "held-out", seed: 90217, locales: append(append([]locale{}, tuningLocales...), heldLocales...),
		frames: map[string]map[string][]string{
			"en": {
				"name":     {"third run: {} asked for a break", "mask size M fits {} better", "NB {} had eaten breakfast", "no show yesterday; {} came today instead"},
				"original": {"name card reads {}", "consent form: {}"},
				"birth":    {"date of birth on the card is {}", "b. {} per passport"},
				"phone":    {"reachable under {}", "mobile: {} (evenings)"},
				"mail":     {"contact is {} now", "e-mail changed, {}"},
				"street":   {"home address {} confirmed", "courier went to {}"},
				"postal":   {"drove in from {}", "new address in {}"},
				"record":   {"chart no. {} was open", "copied from {} by mistake"},
				"coded":    {"barcode content {} printed", "log line: {}"},
			},
			"de": {"name": {"Termin mit {} verschoben", "laut {} war die Klammer zu eng"}, "birth": {"Geburtsdatum {}"}, "phone": {"erreichbar unter {}"}},
			"fr": {"name": {"essai interrompu, {} fatigué", "selon {} le masque serre"}, "birth": {"date de naissance {}"}, "phone": {"joignable au {}"}},
			"nl": {"name": {"masker te strak volgens {}", "{} kwam met de trein"}, "birth": {"geboortedatum {}"}},
			"sv": {"name": {"masken satt dåligt på {}", "{} kom med tåg"}, "birth": {"födelsedatum {}"}},
			"es": {"name": {"según {} la pinza aprieta", "hoy {} vino en ayunas"}, "birth": {"fecha de nacimiento {}"}},
			"it": {"name": {"secondo {} la pinza stringe", "oggi {} era a digiuno"}, "birth": {"data di nascita {}"}},
			"pt": {"name": {"segundo {} a mola aperta", "hoje {} veio em jejum"}, "birth": {"data de nascimento {}"}},
			"pl": {"name": {"dzisiaj {} na czczo", "maska za duża dla {}"}, "birth": {"data urodzenia {}"}},
			"da": {"name": {"{} hostede lidt", "ny tid til {}"}, "birth": {"født {}"}, "phone": {"ring til {}"}},
			"cs": {"name": {"{} kašlal při měření", "nový termín pro {}"}, "birth": {"datum narození {}"}, "phone": {"volat {}"}},
		},
		kin: []string{"seen by Prof. {} last week", "Mr {} from transport came", "mother, Jane {}, asked", "Herr {} war dabei", "Monsieur {} attend", "Dott. {} ha chiamato", "Señor {} esperó", "son Peter {} collects", "dhr. {} kwam mee", "pan {} pytał"},
		odd: map[string][]string{
			"e-mail": {"reply went to {} instead", "address {} bounced"}, "URL": {"portal {} was down", "copied {} from the browser"}, "handle": {"on social media as {}", "follows {} there"},
			"phone": {"neighbour can be reached at {}", "fallback {} (son)", "mobile {}"}, "phone, few digits": {"phone {} works", "ring {} at noon"},
			"IP": {"connected from {} today", "printer {} offline"}, "MAC": {"adapter {} replaced"}, "age over 89": {"turned {} this year, age {}", "age {}, walks well", "a {} year old volunteer"},
			"date": {"diagnosed {}", "surgery {} abroad"}, "street": {"dropped off at {}", "works in {}"}, "plate": {"registration {} blocks the gate", "license plate {}"},
			"insurance number": {"member ID {} expired", "health insurance {}"}, "account number": {"bank account {} given", "acct {} for travel costs"},
			"NHS number": {"number {} in the header", "NHS no {}"}, "SSN": {"social security {}", "wrote {} on the form"}, "NIR": {"sécu {}", "dossier {}"},
			"Steuer-ID": {"Steuernummer {}", "tax id {}"}, "DNI": {"documento {}", "identity card {}"}, "BSN": {"bsn: {}", "BSN-nummer {}"}, "personnummer": {"pnr {}", "stated {}"},
			"SIN": {"social insurance {}", "gave {} instead"}, "CPF": {"cadastro {}", "tax number {}"}, "NPI": {"npi # {}", "prescriber NPI {}"}, "IBAN": {"transfer to {}", "bank {}"}, "card": {"card ending... {}", "charged {}"}, "VIN": {"chassis {}", "vehicle {}"},
		},
		clean: []string{
			"swapped {tube} for {tube} before the run", "kit from lot {lot}, seal intact", "device {serial} needed a reset", "capnograph read 5.# % at plateau", "software 1.?.1# rev ?", "he may come back, the price is fine", "as long as needed; best effort",
			"lab 2.0? cold, 1# °C", "from 14:?0 to 14:5?", "LARK-2 visit ? of 4", "site code LEE-0? changed its mask", "took ibuprofen 400 mg at 8:0?", "sternum tender, trachea midline", "Borg scale ? of 10", "BMI 2#.#, waist 9# cm", "age 7#, former smoker",
			"FVC 3.## l, PEF 4## l/min", "barometer 99# hPa", "Long pause at breath ?", "May was too warm for the tubes", "Best to use the small clip", "Price list is in the drawer", "Atemzug ? verworfen, Leck an der Maske", "mesure répétée, masque taille M", "meting herhaald, masker maat M", "mätningen upprepad", "medida repetida, mascarilla M",
			"misura ripetuta, maschera M", "medição repetida", "pomiar powtórzony", "måling gentaget", "měření zopakováno", "filter 0.2 µm, 47 mm", "ambient NO2 1# ppb", "flow 0.3# l/s for 2# s", "heart rate 7#, regular", "tube conditioned 320 °C, 2 h", "step 4b skipped", "batch of 2# blanks stored at -2# °C", "prednisolone 5 mg daily", "thyroid, liver and spleen normal", "breathing rate 1#/min", "coffee at 7:1?, none since", "spilled water on bench 1#", "time limit 12 min reached", "400 ml of 500 ml collected", "valves V1 to V? checked", "operator trained, form 12-?",
		}}
}
