/* Reads a file with EDFlib (libedf), a library of other people, and prints who it
 * says was recorded, then the label, limits and every digital sample of each
 * signal. */
#include <stdio.h>
#include <edflib.h>

static struct edf_hdr_struct h;

int main(int argc, char **argv)
{
	if (argc != 2 || edfopen_file_readonly(argv[1], &h, EDFLIB_DO_NOT_READ_ANNOTATIONS))
		return 1;
	printf("identity %s %s %s %s %s %s / %s %s %s %s %s\n", h.patient, h.patientcode, h.gender, h.birthdate, h.patient_name,
	       h.patient_additional, h.recording, h.admincode, h.technician, h.equipment, h.recording_additional);
	for (int i = 0; i < h.edfsignals; i++) {
		struct edf_param_struct *s = &h.signalparam[i];
		int n = 16;
		while (n > 0 && s->label[n - 1] == ' ')
			n--;
		printf("%.*s %.6g %.6g %d %d", n, s->label, s->phys_min, s->phys_max, s->dig_min, s->dig_max);
		for (long long k = 0; k < s->smp_in_file; k++) {
			int v;
			if (edfread_digital_samples(h.handle, i, 1, &v) != 1)
				return 1;
			printf(" %d", v);
		}
		printf("\n");
	}
	return edfclose_file(h.handle);
}
