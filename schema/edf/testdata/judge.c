/* Reads a file with EDFlib (libedf), an EDF+ library of other people, and prints
 * what it found, or the number of its error. Every data sample is read. */
#include <stdio.h>
#include <edflib.h>

static struct edf_hdr_struct h;
static int samples[65536];

int main(int argc, char **argv)
{
	if (argc != 2)
		return 2;
	if (edfopen_file_readonly(argv[1], &h, EDFLIB_READ_ALL_ANNOTATIONS)) {
		printf("error %d\n", h.filetype);
		return 1;
	}
	printf("type %d\n", h.filetype);
	printf("patient %s|%s|%s|%s|%s|%s\n", h.patient, h.patientcode, h.gender, h.birthdate, h.patient_name, h.patient_additional);
	printf("recording %s|%s|%s|%s|%s\n", h.recording, h.admincode, h.technician, h.equipment, h.recording_additional);
	printf("start %04d-%02d-%02d %02d:%02d:%02d\n", h.startdate_year, h.startdate_month, h.startdate_day,
	       h.starttime_hour, h.starttime_minute, h.starttime_second);
	printf("records %lld\n", h.datarecords_in_file);
	for (int i = 0; i < h.edfsignals; i++) {
		struct edf_param_struct *s = &h.signalparam[i];
		long long sum = 0, left = s->smp_in_file;
		while (left > 0) {
			int n = edfread_digital_samples(h.handle, i, left < 65536 ? (int)left : 65536, samples);
			if (n < 1)
				break;
			for (int k = 0; k < n; k++)
				sum += samples[k];
			left -= n;
		}
		printf("signal %s|%s|%s|%s|%g|%g|%d|%d|%d sum %lld left %lld\n", s->label, s->transducer, s->physdimension, s->prefilter,
		       s->phys_min, s->phys_max, s->dig_min, s->dig_max, s->smp_in_datarecord, sum, left);
	}
	for (int i = 0; i < h.annotations_in_file; i++) {
		struct edf_annotation_struct a;
		edf_get_annotation(h.handle, i, &a);
		printf("annotation %lld|%s|%s\n", a.onset, a.duration, a.annotation);
	}
	return edfclose_file(h.handle);
}
