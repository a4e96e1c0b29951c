package leak

import "strings"

// A kind says what an everyday word is good for; a word may be of several.
type kind uint32

const (
	kTitle     kind = 1 << iota // stands before a name: Mr, Dr, Frau
	kRole                       // a person at work: nurse, technician
	kPatient                    // the person the record is about
	kKin                        // a person close to the subject
	kMonth                      // number in months
	kWeekday                    //
	kWord                       // an ordinary word that is a name as well
	kThing                      // numbers and dates near it belong to a thing
	kVersion                    // dotted numbers after it are a version
	kBirth                      // a date near it is somebody's
	kPhone                      // a number after it is a telephone's
	kFax                        //
	kAge                        // a number after it is an age
	kAccount                    // bank account
	kInsurance                  // health-plan number
	kPlate                      // vehicle registration
	kPostal                     // postal code or address
	kPlace                      // a capitalised word before it names a room or ward
	kBefore                     // stands before a month: in May, since April
	kUnit                       // a number before it is a measurement
	kPerson                     // pronoun
	kNumeral                    // nine, ninety, hundred
	kCode                       // an identifier follows
	kPlain                      // never part of a name after a title
	kParticle                   // de, van, von
	kRoad                       // a kind of street
	kRecord                     // a number after it is a patient's or a document's
	kActs                       // what a person does: coughed, refused
	kFunction                   // a name-word that is mostly a verb or adverb: will, may, long
	kOpens                      // a name-word with which a note begins
	kLabel                      // a name follows: name, surname
	kIs                         // after it stands what somebody is or does: was, has
)

// vocabulary is from the author's knowledge of the trade and of the languages,
// no word list's; folded spelling.
var vocabulary = func() map[string]kind {
	m := make(map[string]kind)
	for k, words := range map[kind]string{
		kTitle: `mr mrs ms miss mx dr prof professor sir dame herr frau hr mme mlle madame monsieur mademoiselle sr sra srta senor senora
			senorita dhr mevr mevrouw meneer mw sig signor signora dott dottssa dottore dottoressa drs dra docteur doktor pani dres
			doña fru rouva bey hanim`,
		kRole: `nurse doctor physician anaesthetist anesthetist surgeon technician therapist physiotherapist physio dietitian pharmacist midwife
			consultant registrar interpreter translator coordinator investigator operator colleague receptionist porter matron paramedic
			gp psychologist psychiatrist dentist cardiologist pulmonologist radiologist neurologist oncologist carer caregiver caretaker
			assistant pathologist dermatologist gynaecologist urologist paediatrician pediatrician geriatrician teacher boss employer lawyer solicitor chaplain
			priest pastor rabbi imam driver chauffeur krankenschwester pfleger arzt arztin hausarzt infirmiere infirmier medecin enfermera enfermero medico
			verpleegkundige huisarts arts infermiera infermiere clinician intern resident student trainee supervisor monitor practitioner witness`,
		kPatient: `patient pt participant subject volunteer proband probandin client patientin patiente paciente paziente participante deelnemer teilnehmer teilnehmerin`,
		kKin: `wife husband partner spouse son daughter mother father mum mom mam dad mummy daddy brother sister aunt auntie uncle cousin niece nephew
			grandmother grandfather grandma grandpa granny grandson granddaughter fiance fiancee boyfriend girlfriend friend neighbour neighbor
			guardian widow widower twin stepson stepdaughter stepmother stepfather flatmate roommate landlord landlady baby godmother godfather
			ehefrau ehemann tochter sohn mutter vater bruder schwester tante onkel oma opa nachbarin nachbar freundin freund
			fille fils mere pere frere soeur epouse mari hija hijo madre padre hermana hermano esposa esposo marito moglie figlia figlio sorella fratello
			vrouw dochter zoon moeder vader broer zus buurvrouw buurman relative`,
		kWeekday: `monday tuesday wednesday thursday friday saturday sunday mon tue tues wed thu thur thurs fri sat sun`,
		kThing: `tube tubes cartridge cartridges lot lots batch barcode barcodes serial serials unit units device devices sampler samplers kit kits box boxes crate
			consignment shipment parcel order orders reference ref tag inventory invoice rack shelf sop restock restocked leaflet print printed
			calibration calibrated calibrate service serviced maintenance expiry expires expired exp delivery delivered courier certificate ticket transfer digest
			checksum sha md5 message document form protocol cohort pump valve sorbent bed filter instrument analyser analyzer
			pipette battery catalogue catalog article sticker label stock supplier manufacturer template poster brochure clock logger recorder
			cylinder gas regulator fridge freezer trolley mask hose facepiece mouthpiece amendment consumables carton pallet
			charge probe rohrchen lieferung geliefert ablauf kalibrierung serie numero lote caja tubo`,
		kVersion: `build version firmware fw sw app apps software release releases ver rev revision update updated upgrade upgraded patch driver v r`,
		kBirth:   `born birth dob birthday birthdate birthdays geb geboren geburtsdatum geburtstag nee nacido nacida nacimiento naissance nato nata nascita geboortedatum geboren bday admitted discharged died deceased death hospitalised hospitalized admission discharge married wedding`,
		kPhone:   `phone phoned telephone tel mobile cell cellphone call calls called callback ring rings dial handy telefon telefono telefone telefoon mobil movil portable gsm whatsapp sms landline telephoned contact`,
		kFax:     `fax telefax facsimile`,
		kAge:     `age aged ages alter edad eta leeftijd`,
		kAccount: `bank account iban acct konto kontonummer bankkonto compte cuenta conto rekening`,
		kInsurance: `insurer insurers insurance insured policy member membership beneficiary medicaid medicare krankenkasse versicherung versichertennummer versicherungsnummer
			mutuelle mutua seguro zorgverzekering polis subscriber`,
		kPlate:  `reg rego plate plates vehicle car van registration licence license kennzeichen motorbike motorcycle taxi nummernschild immatriculation matricula targa kenteken`,
		kPostal: `zip post postal postcode postcodes plz cp cap postleitzahl zipcode address addresses lives living home resident domicile adresse indirizzo direccion adres`,
		kPlace: `ward clinic clinics zone unit room rooms wing hospital department dept office offices corridor building centre center side street road lane floor suite lab
			laboratory theatre hall house gate entrance lift desk kiosk cafe canteen pharmacy institute foundation trust university school college park square court bay block
			level team group study trial scale index test score sign syndrome disease method criteria reflex line tower terrace avenue drive close box`,
		kBefore: `in for from of until till since by this last next early mid late during before after through to every each between and on at around end beginning start im bis ab seit`,
		kUnit: `ml l dl cl mg g kg ug mcg ng mm cm m km s sec secs second seconds min mins minute minutes h hr hrs hour hours ms bpm mbar bar pa kpa hpa mmhg ppm ppb ppt
			v mv ma hz khz c f rpm breaths bar psi lpm percent pct mol mmol umol iu litre litres liter liters metre metres meter meters pieces points days day weeks week
			months years year times`,
		kPerson:  `she he they her his i we participant patient subject pt mother father grandmother grandfather wife husband who volunteer`,
		kNumeral: `ninety hundred one two three four five six seven eight nine ten`,
		kCode:    `no nr number num id ids code codes mrn file record records chart passport nhs ssn nin nino insee dni nie bsn nif card identifier hospital`,
		kPlain: `station appointment arrived agreed asked called said says was is has had will would can could not and or the a an on in at to for from with who
			that this then there when about after before note notes diary card id number no information leaflet sheet consent visit visits call calls
			report reported did does do came went left took felt data room ward did told also again still only sat stood all any some every each
			intercom training hours shift name names unknown none nil n na tbc tbd declined refused withdrew complained wants may yes ok okay
			very too quite just now here present absent waiting outside inside`,
		kParticle: `de da di do du del della dello dei degli des den der van von vom zu zum zur la le les el al bin ibn ben ter ten te af av y e dos das d o st san santa mac mc`,
		kFunction: `will may can long short low good day may much more most so do an be such many little just best close early hard in on at to at by my`,
		kRoad:     `street road lane avenue drive crescent terrace close row mews grove gardens boulevard rd ave ln blvd st`,
		kRecord:   `mrn record chart passport hospital ssn social nhs nino identity identification`,
		kActs: `complained complains wants wanted asked asks breathes breathed refused refuses said says felt feels told coughed coughs smoked smokes ate eats
			drank drinks interrupted arrived came went agreed agrees declined declines laughed laughs fainted reports drove drives interprets interpreted waited
			helped helps spoke speaks thinks thought knows cried sneezed sneezes yawned yawns swallowed vomited slept forgot forgets lives works cancelled
			called rang phoned mentioned mentions apologised apologized insisted insists prefers preferred tolerated managed manages understands understood`,
		kWord:  nameWords,
		kOpens: openers,
		kLabel: `name names surname lastname firstname forename nachname vorname familienname nom prenom nombre apellido apellidos nome cognome sobrenome
			naam achternaam voornaam imie nazwisko efternamn fornamn`,
		kIs: `was is has had will did does got needs needed took takes felt left seems seemed looks looked returned returns stayed tried kam kommt war ist hat hustet hustete est etait tousse esta llego tose tossisce
			heeft kwam hoest hostar`,
	} {
		for _, w := range strings.Fields(words) {
			m[foldString(w)] |= k
		}
	}
	for w := range months {
		m[w] |= kMonth
	}
	return m
}()

// months holds names and abbreviations in English, German, French, Spanish,
// Italian, Dutch, Swedish and Portuguese, and as they stand after a day in Polish,
// Russian, Ukrainian and Greek, folded.
var months = func() map[string]int {
	m := make(map[string]int)
	for i, words := range [12]string{
		"january jan januar janner janv janvier enero ene gennaio gen januari jaenner janeiro stycznia января січня ιανουαρίου",
		"february feb februar fevrier fev fevr febrero febbraio februari febr feber fevereiro lutego февраля лютого φεβρουαρίου",
		"march mar marz maerz mrz mars marzo maart mrt marco marca марта березня μαρτίου",
		"april apr avril avr abril abr aprile kwietnia апреля квітня απριλίου",
		"may mai mayo maggio mag mei maj maio maja мая травня μαΐου",
		"june jun juni juin junio giugno giu junho czerwca июня червня ιουνίου",
		"july jul juli juillet juil julio luglio lug julho lipca июля липня ιουλίου",
		"august aug aout agosto ago augustus augusti sierpnia августа серпня αυγούστου",
		"september sep sept septembre septiembre settembre set setembro wrzesnia сентября вересня σεπτεμβρίου",
		"october oct oktober okt octobre octubre ottobre ott outubro pazdziernika октября жовтня οκτωβρίου",
		"november nov novembre noviembre novembro listopada ноября листопада νοεμβρίου",
		"december dec dezember dez decembre diciembre dic dicembre dezembro grudnia декабря грудня δεκεμβρίου",
	} {
		for _, w := range strings.Fields(words) {
			m[foldString(w)] = i + 1
		}
	}
	return m
}()
