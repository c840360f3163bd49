"""Reads waveforms.bin as src/journal/FORMAT.md describes it, whole and undamaged."""
import zlib

WAVEFORM, QUIET = 1, 2


def unstuffed(line):
    stuffed = bytes(byte ^ 0x0A for byte in line)
    out = bytearray()
    at = 0
    while at < len(stuffed):
        length = stuffed[at]
        out += stuffed[at + 1:at + length]
        at += length
        if length < 255 and at < len(stuffed):
            out.append(0)
    return bytes(out)


def numbers(body):
    number = shift = 0
    for byte in body:
        number |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            yield number
            number = shift = 0


def signed(number):
    return -(number + 1 >> 1) if number & 1 else number >> 1


def values(number, count):
    value = 0
    for _ in range(count):
        value += signed(next(number))
        yield value


def read_waveforms(path):
    """Its records: (type, trial, channel, first_ns, step_ns, values); of quiet, the lowest ones."""
    head, *lines = path.read_bytes().split(b"\n")
    assert head.startswith(b"plexor waveforms, format 1"), head
    records = []
    for line in lines[:-1]:
        record = unstuffed(line)
        assert zlib.crc32(record[4:]) == int.from_bytes(record[:4], "little"), "a damaged record"
        number = numbers(record[4:])
        _, kind, block, trial, attempt, channel = (next(number) for _ in range(6))
        first, step, count = signed(next(number)), next(number), next(number)
        records.append((kind, [block, trial, attempt], channel, first, step, list(values(number, count))))
    return records
