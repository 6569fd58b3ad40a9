// The files of a ZIP archive, as the page of a job saves one, or packed anew by somebody since.
//
// The layout: PKWARE, .ZIP File Format Specification (APPNOTE), sections 4.3.7, 4.3.12 and 4.3.16 (from memory; held against archives
// of another library in the browser check).

/** More than a job ever has: an archive with more is none of ours. */
const MOST_FILES = 5000;
const LARGEST_FILE = 64 * 1024 * 1024;
const MOST_BYTES = 1024 * 1024 * 1024;

const STORED = 0;
const DEFLATED = 8;

const not = (why) => new Error(`this archive cannot be read: ${why}`);

/** Unpacks no more than was promised: an archive may lie about what it becomes. */
async function unpacked(bytes, size) {
  const reader = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw")).getReader();
  const whole = new Uint8Array(size);
  let filled = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    if (filled + value.length > size) {
      await reader.cancel();
      throw not("a file in it is larger than it says");
    }
    whole.set(value, filled);
    filled += value.length;
  }
  if (filled !== size) throw not("a file in it is cut short");
  return whole;
}

/** The files of an archive as `{ name, bytes() }`; nothing is unpacked before it is asked for. */
export async function filesOf(archive) {
  const view = new DataView(await archive.arrayBuffer());
  const within = (at, length) => {
    if (at < 0 || at + length > view.byteLength) throw not("it is cut short");
    return at;
  };
  // The end record is the last thing in it, but for a comment of at most 64 KiB.
  let end = view.byteLength - 22;
  const first = Math.max(0, end - 0xffff);
  while (end >= first && view.getUint32(end, true) !== 0x06054b50) end -= 1;
  if (end < first) throw not("it is no ZIP archive");
  const count = view.getUint16(end + 10, true);
  if (count > MOST_FILES) throw not(`it has ${count} files, and at most ${MOST_FILES} are taken`);
  const files = [];
  let total = 0;
  let at = view.getUint32(end + 16, true);
  for (let number = 0; number < count; number += 1) {
    if (view.getUint32(within(at, 46), true) !== 0x02014b50) throw not("its list of files is damaged");
    const [method, packed, size] = [view.getUint16(at + 10, true), view.getUint32(at + 20, true), view.getUint32(at + 24, true)];
    const [nameLength, extra, comment] = [28, 30, 32].map((field) => view.getUint16(at + field, true));
    const local = view.getUint32(at + 42, true);
    const name = new TextDecoder().decode(new Uint8Array(view.buffer, within(at + 46, nameLength), nameLength));
    at += 46 + nameLength + extra + comment;
    total += size;
    if (size > LARGEST_FILE || total > MOST_BYTES) throw not(`${name} makes it larger than a job is: at most ${LARGEST_FILE / 1024 / 1024} MiB a file, ${MOST_BYTES / 1024 / 1024} MiB in all`);
    files.push({
      name,
      async bytes() {
        if (view.getUint32(within(local, 30), true) !== 0x04034b50) throw not(`${name} is not where its list says`);
        const begin = local + 30 + view.getUint16(local + 26, true) + view.getUint16(local + 28, true);
        const bytes = new Uint8Array(view.buffer, within(begin, packed), packed);
        if (method === STORED && packed === size) return bytes;
        if (method === DEFLATED) return unpacked(bytes, size);
        throw not(`${name} is packed in a way that browsers do not know; take the archive apart and choose events.ndjson and the photos`);
      },
    });
  }
  return files;
}
