// Reads a file with edfdecoder 0.1.2, a reader of other people in JavaScript, and
// prints who it says was recorded, then the label, limits and every digital
// sample of each signal.
const fs = require("fs");
const { EdfDecoder } = require("edfdecoder");

const bytes = fs.readFileSync(process.argv[2]);
const decoder = new EdfDecoder();
decoder.setInput(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength));
decoder.decode();
const edf = decoder.getOutput();
const lines = [`identity ${edf.getPatientID()} / ${edf.getRecordingID()}`];
for (let i = 0; i < edf.getNumberOfSignals(); i++) {
  if (edf.getSignalLabel(i) === "EDF Annotations") continue;
  const line = [edf.getSignalLabel(i), edf.getSignalPhysicalMin(i), edf.getSignalPhysicalMax(i), edf.getSignalDigitalMin(i), edf.getSignalDigitalMax(i)];
  for (let r = 0; r < edf.getNumberOfRecords(); r++) line.push(...edf.getRawSignal(i, r));
  lines.push(line.join(" "));
}
process.stdout.write(lines.join("\n") + "\n");
