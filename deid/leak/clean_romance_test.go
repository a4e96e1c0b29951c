package leak

import (
	"strings"
	"testing"

	"outbreath/schema"
)

// cleanRomance are notes of French, Spanish, Portuguese and Italian operators in
// which nobody is named.
const cleanRomance = `le masque de la taille M serre un peu
mesure de la pression à la fin de la séance
a toussé au début de la deuxième minute
changement de la pile avant le test
pince de nez remise à la place de l'ancienne
rien à signaler, respiration calme
deux essais, le premier annulé à cause de la fuite
du café et de la confiture au petit déjeuner
les tubes 1, 2 et 3 en place, débit 200 ml/min
arrivé à 8 h 05, repos de dix minutes
salle 3, 21 °C, fenêtre fermée
un deux trois, puis souffle lent
la valve de la ligne B a été changée
bouche sèche, un verre d'eau, la suite sans problème
patient à jeun depuis la veille
dolor de la pierna, se sentó de nuevo
se cambió la boquilla al final de la prueba
tos leve después de la segunda muestra
la mascarilla de la talla M le aprieta
cuatro de la tarde, segunda sesión
el tubo de la izquierda estaba flojo
uno, dos, tres, sopla despacio
la presión de la sala era de 1013 hPa
desayuno a las siete, sin café
respira bien, de las tres la mejor
el aire de la calle entraba por la ventana
a la hora del descanso bebió agua
se midió al lado de la puerta
los datos de la bomba, correctos
la del segundo tubo, repetida
tosse ligeira no fim da sessão
a máscara da sala dois estava solta
mediu-se de novo depois do almoço
a pressão do ar era de 1012 hPa
o tubo da esquerda foi trocado
da primeira vez houve fuga
respirou bem, sem queixas, das três a melhor
dois minutos de pausa, depois do segundo tubo
do lado da janela, 20 °C
água aos dez minutos, a seguir calmo
troca da bateria no início do teste
o fluxo da bomba desceu de 200 a 190
um, dois, três, soprar devagar
dos quatro tubos só dois foram usados
em jejum desde a véspera
tosse leggera alla fine della prova
la maschera della taglia M stringe un po'
cambio della batteria prima del test
il tubo di sinistra era lento
pressione della sala 1013 hPa
due minuti di pausa, poi di nuovo
uno, due, tre, soffiare piano
la valvola della linea B dello strumento
del terzo tubo si è perso il tappo
respira bene, nessun disturbo
dal lato della porta, finestra chiusa
il flusso della pompa è sceso
a digiuno da ieri sera
le misure degli ultimi due, ripetute
acqua dopo dieci minuti, poi calmo`

// TestCleanRomance: the little words of these languages are nobody's name, whatever
// names the roster has.
func TestCleanRomance(t *testing.T) {
	r := &schema.Roster{Columns: partedRoster.Columns, Rows: partedRoster.Rows}
	for _, family := range []string{"de la Cruz", "Del Río", "Da Silva", "dos Santos", "Di Lorenzo", "De la Vega",
		"du Pré", "Le Goff", "Della Corte", "das Neves"} {
		r.Rows = append(r.Rows, map[string]string{"given_name": "Maria", "family_name": family})
	}
	s := New(r)
	notes := strings.Split(cleanRomance, "\n")
	if len(notes) != 60 {
		t.Fatalf("%d notes", len(notes))
	}
	for _, n := range notes {
		for _, n := range []string{n, strings.ToUpper(n[:1]) + n[1:]} {
			for _, m := range s.Scan(n, nil) {
				t.Errorf("%q in %q is taken for %s (%s)", n[m.Start:m.End], n, m.Basis, m.Confidence)
			}
		}
	}
	for _, n := range []string{"vino la señora de la Cruz", "Maria Da Silva", "Le Goff tousse", "De la Vega llegó",
		"dos Santos chegou"} {
		if len(s.Scan(n, nil)) == 0 {
			t.Errorf("%q: the name is not found", n)
		}
	}
}
