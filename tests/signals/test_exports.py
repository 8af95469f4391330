"""Exports in the styles that instruments and programs write, each a small invented file.

The claim is the same for each style: interval, voltage and channel are those stated in the file, or it is refused with
the reason and a correction, or its speed is flagged `time-assumed`; never a wrong number without a flag.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from edgewind.errors import InputError
from edgewind.signals import Tachometry, measure_file, read_trace
from edgewind.signals.trace import Trace

STEP = 0.5e-3
VOLTS = [0.1, 0.2, 1.4, 0.3, 0.1, 0.0, 0.2, 1.5, 0.2, 0.1] * 4
TIMES = [STEP * i - 0.004 for i in range(len(VOLTS))]


def rows(*columns: Sequence[object], separator: str = ",") -> str:
    return "".join(separator.join(str(cell) for cell in row) + "\n" for row in zip(*columns, strict=True))


def numbers(values: list[float], form: str = "{:.6f}", decimal: str = ".") -> list[object]:
    return [form.format(value).replace(".", decimal) for value in values]


T, V = numbers(TIMES), numbers(VOLTS)
MS = numbers([1000 * time for time in TIMES])
BLANK: list[object] = [""] * len(VOLTS)
COUNT: list[object] = list(range(len(VOLTS)))
OTHER: list[object] = ["0.5"] * len(VOLTS)
PREAMBLE = [("Record Length", "40"), ("Sample Interval", "5.0e-04"), ("Horizontal Units", "s"), ("Probe", "10")]
BESIDE = [[key for key, _ in PREAMBLE] + [""] * 36, [value for _, value in PREAMBLE] + [""] * 36]
SEGMENT = "Channels\t1\nSamples\t40\nX_Dimension\tTime\nX0\t0.0E+0\nDelta_X\t5.0E-4\n***End_of_Header***\n"

READ_RIGHT: dict[str, str] = {
    "thousands set apart twice": "Sample interval (ps): 500,000,000\nCH1 (V)\n" + rows(V),
    "thousands set apart by a stroke": "Sample rate: 2'000 Hz\nCH1 (V)\n" + rows(V),
    "names with start and increment, a sequence": "X,CH1,CH2,Start,Increment,\nSequence,Volt,Volt,-4.0e-03,5.0e-04,\n"
    + rows(COUNT, V, OTHER, BLANK, BLANK),
    "names with start and increment, no sequence": "CH1,CH2,Start,Increment\nVolt,Volt,-4.0e-03,5.0e-04\n"
    + rows(V, OTHER, BLANK, BLANK),
    "start and increment beside the first row": "X,CH1,Start,Increment\n"
    + rows(COUNT, V, ["-4.0e-03", *BLANK[1:]], ["5.0e-04", *BLANK[1:]]),
    "increment in a title": "X,CH1,t0 = -4e-3s,tInc = 5.0e-04\n" + rows(COUNT, V),
    "two blocks beside each other with the same titles": "Model,M3014\nWaveform Type,ANALOG,,Waveform Type,DIGITAL\n"
    "Sample Interval,5.0e-04,,Sample Interval,5.0e-04\nHorizontal Units,s,,Horizontal Units,s\nTIME,CH1,,TIME,D0\n"
    + rows(T, V, BLANK, T, OTHER),
    "unit after in": "in s,C1 in V\n" + rows(T, V),
    "unit as title": "Second,Volt\n" + rows(T, V),
    "unit in brackets as title": "[s],CH1 [V]\n" + rows(T, V),
    "milliseconds as a title": "millis,CH1\n" + rows(MS, V),
    "milliseconds as a call": "millis(),CH1\n" + rows(MS, V),
    "x value beside a preamble": "Delta_X\t5.0E-4\nX_Dimension\tTime\n***End_of_Header***\nX_Value\tCH1\tComment\n"
    + rows(T, V, separator="\t"),
    "unit in round brackets": "time(us),CH1(mV)\n"
    + rows(numbers([1e6 * t for t in TIMES], "{:.1f}"), numbers([1e3 * v for v in VOLTS], "{:.1f}")),
    "units in a row of their own": "Time,CH1\n(ms),(V)\n\n" + rows(MS, V),
    "source above units": "Record Length,Analog:40\nSource,CH1\nSecond,Volt\n" + rows(T, V),
    "blank first title, units below": ",CH1\ns,V\n" + rows(T, V),
    "3+2 columns": rows(BESIDE[0], BESIDE[1], BLANK, T, V),
    "saved again with an index": "".join(pd.DataFrame({"Time (ms)": MS, "CH1 (V)": V}).to_csv()),
    "saved again with a named index": "Unnamed: 0,time_s,CH1\n" + rows(COUNT, T, V),
    "separator row, semicolons": "Zeit [s];CH1 [V]\n;;\n"
    + rows(numbers(TIMES, decimal=","), numbers(VOLTS, decimal=","), separator=";"),
    "separator row, commas": "time [s],CH1 [V]\n,,\n" + rows(T, V),
    "empty last rows": "time [s],CH1 [V]\n" + rows(T, V) + ",\n,\n",
    "segments": SEGMENT
    + "X_Value\tCH1\n"
    + rows(T, V, separator="\t")
    + "\n"
    + SEGMENT
    + "X_Value\tCH1\n"
    + rows(T, V, separator="\t"),
    "decimal commas and tabs": "t/s\tCH1/V\n"
    + rows(numbers(TIMES, decimal=","), numbers(VOLTS, decimal=","), separator="\t"),
    "decimal commas between commas": "t (ms),CH1 (V)\n"
    + rows(numbers([0.5 * i for i in COUNT], "{:.2f}", ","), numbers(VOLTS, decimal=",")),  # type: ignore[operator]
    "decimal commas in quotes": "t (s),CH1 (V)\n"
    + rows(*([f'"{cell}"' for cell in numbers(values, decimal=",")] for values in (TIMES, VOLTS))),
    "blank rows in another channel": "time_s,CH1_V,CH2_V\n" + rows(T, V, ["0.4", ""] * 20),
    "rate in comments": "; written by a program\n; Samplerate: 2 kHz\nCH1\n" + rows(V),
    "resolution and unit apart": '"Model","A7"\n"HResolution",0.5\n"HUnit","ms"\n"TraceName","CH1"\n"VUnit","V"\n'
    + rows(BLANK, V),
    "seconds since 1970": "timestamp,CH1\n" + rows(numbers([1.7e9 + t for t in TIMES], "{:.4f}"), V),
    "milliseconds since 1970": "timestamp,CH1\n" + rows(numbers([1.7e12 + 1e3 * t for t in TIMES], "{:.1f}"), V),
    "no unit, but the header's interval settles it": "Sample Interval,0.5 ms\nTime,CH1\n" + rows(MS, V),
    "a counter called time, the interval in the header": "Sample Interval,0.5 ms\nTime,CH1\n" + rows(COUNT, V),
}


def each(form: Callable[[float, float], str]) -> str:
    """Return one row a sample, from its time and voltage."""
    return "".join(f"{form(time - TIMES[0], volt)}\n" for time, volt in zip(TIMES, VOLTS, strict=True))


def comma(text: str) -> str:
    return text.replace(".", ",")


def swapped(text: str) -> str:
    """Return a number with points between its thousands and a decimal comma."""
    return text.replace(",", "x").replace(".", ",").replace("x", ".")


PLAIN = each(lambda t, v: f"{t:.6f},{v:.4f}")
READ_RIGHT |= {
    "semicolons, decimal commas, a row of units": "Zeit;Kanal A\n(ms);(V)\n\n"
    + each(lambda t, v: comma(f"{1e3 * t:.4f};{v:.6f}")),
    "milliseconds below lines of words": "Second run, lamp on\nby hand\n\nt (ms);U (mV)\n"
    + each(lambda t, v: f"{1e3 * t:.2f};{1e3 * v:.1f}"),
    "date-time stamps": "Timestamp,CH1 (V)\n" + each(lambda t, v: f"2026-03-14 15:09:{26 + t:09.6f},{v}"),
    "ISO 8601 in UTC": "time,CH1 (V)\n" + each(lambda t, v: f"2026-03-14T15:09:{26 + t:09.6f}Z,{v}"),
    "ISO 8601 with an offset": "time,CH1 (V)\n" + each(lambda t, v: f"2026-03-14T15:09:{26 + t:09.6f}+01:00,{v}"),
    "twelve hours": "Time,CH1 (V)\n" + each(lambda t, v: f"3/14/2026 3:09:{26 + t:09.6f} PM,{v}"),
    "day first, decimal commas": "Zeit;U (V)\n"
    + each(lambda t, v: "14.03.2026 15:09:" + comma(f"{26 + t:09.6f};{v:.4f}")),
    "date and time in two columns": "Date,Time,CH1 (V)\n" + each(lambda t, v: f"2026-03-14,15:09:{26 + t:09.6f},{v}"),
    "times of day across midnight": "Time,CH1 (V)\n"
    + each(lambda t, v: (f"23:59:{59.99 + t:09.6f}" if t < 0.0099 else f"00:00:{t - 0.01:09.6f}") + f",{v}"),
    "hours, minutes and seconds from the start": "elapsed,CH1 (V)\n" + each(lambda t, v: f"0:00:{t:09.6f},{v}"),
    "nanoseconds since 1970": "timestamp,CH1 (V)\n" + each(lambda t, v: f"{1773500000000000000 + round(1e9 * t)},{v}"),
    "minutes": "time (min),CH1 (V)\n" + each(lambda t, v: f"{t / 60:.9f},{v}"),
    "thousands by commas": "time (us),CH1 (mV)\n" + each(lambda t, v: f'"{1e6 * t:,.1f}","{1e3 * v:,.1f}"'),
    "thousands by points": "Zeit (us);U (mV)\n" + each(lambda t, v: swapped(f"{1e6 * t:,.1f};{1e3 * v:,.1f}")),
    "thousands by apostrophes": "t (us);U (mV)\n"
    + each(lambda t, v: f"{1e6 * t:,.1f};{1e3 * v:,.1f}".replace(",", "'")),
    "thousands by blanks": "t (us);U (mV)\n" + each(lambda t, v: f"{1e6 * t:,.1f};{1e3 * v:,.1f}".replace(",", " ")),
    "thousands by narrow blanks": "t (us);U (mV)\n"
    + each(lambda t, v: f"{1e6 * t:,.1f};{1e3 * v:,.1f}".replace(",", "\u202f")),
    "units in the cells": "Time,CH1\n" + each(lambda t, v: f"{1e3 * t:.1f} ms,{v:.3f} V"),
    "units that change from cell to cell": "Time;CH1\n"
    + each(lambda t, v: (f"{1e6 * t:.0f}us" if t < 1e-3 else f"{1e3 * t:.1f}ms") + f";{1e3 * v:.0f}mV"),
    "words and units in Russian": "Время, мс;Напряжение, В\n" + each(lambda t, v: comma(f"{1e3 * t:.2f};{v:.4f}")),
    "words in Japanese": "時間(s),電圧(V)\n" + PLAIN,
    "a word and a unit behind a comma": "Zeit, ms;U (V)\n" + each(lambda t, v: f"{1e3 * t:.2f};{v:.4f}"),
    "an index, the increment as dx": "# dx = 500 us\n# n = 40\nn;U/V\n" + rows(COUNT, V, separator=";"),
    "thousands by commas between tabs": "t (us)\tU (mV)\n" + each(lambda t, v: f"{1e6 * t + 1e3:,.3f}\t{1e3 * v:.1f}"),
    "thousands by low lines": "t (us);U (mV)\n" + each(lambda t, v: f"{1e6 * t:_.1f};{1e3 * v:.1f}"),
    "a byte-order mark": "\ufefftime (s),CH1 (V)\n" + PLAIN,
    "a very long header": "".join(f"Setting {k}: on\n" for k in range(400)) + "time (s),CH1 (V)\n" + PLAIN,
    "segments one below the other": "time (s),CH1 (V)\n" + PLAIN + "\n" + PLAIN,
    "segments by number": "Segment,time (s),CH1 (V)\n"
    + "".join(each(lambda t, v, k=k: f"{k},{t:.6f},{v}") for k in (1, 2)),  # type: ignore[misc]
    "strokes between the cells": "time (s)|CH1 (V)\n" + PLAIN.replace(",", "|"),
    "exponents by D": "time (s),CH1 (V)\n" + each(lambda t, v: f"{t:.6E},{v:.4E}".replace("E", "D")),
    "the minus of printed matter": "time (s),CH1 (V)\n"
    + each(lambda t, v: f"{t - 0.01:.6f},{v}".replace("-", "\u2212")),
    "carriage returns alone": "time (s),CH1 (V)\r" + PLAIN.replace("\n", "\r"),
    "fixed width": "   time (s)     CH1 (V)\n" + each(lambda t, v: f"{t:12.6f} {v:12.5f}"),
    "a line that names the separator": "sep=;\ntime (s);CH1 (V)\n" + PLAIN.replace(",", ";"),
    "a separator at the end": "time (s);CH1 (V);\n" + each(lambda t, v: f"{t:.6f};{v};"),
}
INDEXED = [f"{i} {time:.4f} {volt}" for i, (time, volt) in enumerate(zip(TIMES, VOLTS, strict=True))]
READ_RIGHT |= {
    "a data frame as it is printed": pd.DataFrame({"time_s": TIMES, "CH1": VOLTS}).to_string(),
    "row names without a title": '"time_s" "CH1"\n' + "\n".join(INDEXED),
    "row names without a title, commas": "time_s,CH1\n" + "\n".join(INDEXED).replace(" ", ","),
    "a table drawn with strokes": "+---+---+\n| time_s | CH1 |\n+---+---+\n"
    + each(lambda t, v: f"| {t:.4f} | {v} |")
    + "+---+---+\n",
    "an arrow behind a clock": each(lambda t, v: f"15:09:{26 + t:07.4f} -> {v}"),
    "labels before numbers": each(lambda t, v: f"t_ms:{1e3 * t:.1f}\tCH1:{v}"),
    "objects line by line": each(lambda t, v: f'{{"t_ms": {1e3 * t:.1f}, "v": {v}}}'),
    "months by name": "Time,CH1 (V)\n" + each(lambda t, v: f"14-Mar-2026 15:09:{26 + t:07.4f},{v}"),
    "months by name, month first": "Time,CH1 (V)\n" + each(lambda t, v: f"Mar 14 2026 15:09:{26 + t:07.4f},{v}"),
    "ISO 8601 without marks": "time,CH1 (V)\n" + each(lambda t, v: f"20260314T1509{26 + t:07.4f}Z,{v}"),
    "UTC by name": "time,CH1 (V)\n" + each(lambda t, v: f"2026-03-14 15:09:{26 + t:07.4f} UTC,{v}"),
    "two files one behind the other": "\ufefftime (s),CH1 (V)\n"
    + PLAIN[:200].rsplit("\n", 1)[0]
    + "\n\ufeff"
    + PLAIN[:200].rsplit("\n", 1)[1]
    + PLAIN[200:],
    "mixed ends of lines": "time (s),CH1 (V)\n" + PLAIN.replace("0\n", "0\r\n"),
    "numbers in quotes": '"time (s)","CH1 (V)"\n' + each(lambda t, v: f'"{t:.4f}","{v}"'),
    "comments behind numbers": "time_s,CH1\n" + each(lambda t, v: f"{t:.4f},{v}" + " # lamp" * (v > 1)),
    "a pressure before the channel": "time_s,Pressure (Pa),CH1 (V)\n"
    + each(lambda t, v: f"{t:.4f},1.2{10 * v:.0f},{v}"),
    "twelve hours across noon": "Time,CH1 (V)\n"
    + each(lambda t, v: (f"11:59:{59.99 + t:07.4f} AM" if t < 0.0099 else f"12:00:{t - 0.01:07.4f} PM") + f",{v}"),
}
READ_RIGHT |= {
    "the display in another unit than the column": "Sample Interval,CH1:0.0005\nHorizontal Units,us,,\n"
    "Horizontal Scale,500.0,,\nSource,CH1\nSecond,Volt\n" + rows(T, V),
    "a setting above the units": "Sample Rate,2000.0\nHorizontal Scale, 0.020\nSecond,Volt\n" + rows(T, V),
    "a run before the titles": "Latest: Time (s),Latest: Potential (V)\n" + rows(T, V),
    "a numbered run before the titles": "Run 2: Time (ms),Run 2: Potential (mV)\n"
    + each(lambda t, v: f"{1e3 * t:.1f},{1e3 * v:.1f}"),
    "a run behind the units": "Time (s) Run #1,Voltage (V) Run #1\n" + rows(T, V),
    "numbers behind keys above words behind keys": '"Trace","CH1","CH2"\n"Points",40,40\n"VUnit","V","V"\n'
    '"Rate",2000,2000\n"HResolution",5.0E-04,5.0E-04\n"HOffset",0.0,0.0\n"HUnit","s","s"\n"Day","3 May","3 May"\n'
    + rows(BLANK, V, OTHER),
    "a column that counts under a name of its own": "nr,time_s,CH1\n" + rows(COUNT, T, V),
    "a rule below the titles": "Scan number   time_s   CH1\n------------\n" + rows(COUNT, T, V, separator="\t"),
    "a time for each sample": "Pulse\n0.5 msec/sample\nCH1 (V)\n" + rows(V),
    "minutes as a title, numbers of samples below": "0.5 msec/sample\nmin,CH1,\n,40,\n"
    + each(lambda t, v: f"{t / 60:.9f},{v},"),
    "samples for each second": "Pulse\n2000 samples/sec\nCH1 (V)\n" + rows(V),
    "delta with its unit": "Delta: 0.0005 sec.\nCH1 [V]\n" + rows(V),
    "a rate in brackets": "Sample rate : (2.0kS/s)\nindex,CH1_Voltage(V)\n" + rows(COUNT, V),
}
# Headers as in the files of data/ in the repository ladisk/lvm_read (read there), with rows of our own.
MEASURED = "LabVIEW Measurement\t\nSeparator\tTab\nMulti_Headings\tYes\nTime\t09:51:39.197\n***End_of_Header***\t\n\t\n"
BLOCK = "Channels\t{n}\nSamples\t40{more}\nDate\t2026/02/19\nX_Dimension\tTime\nX0\t0.0E+0\nDelta_X\t{step}\n"
BLOCK += "***End_of_Header***\t\t\n"
ONE = BLOCK.format(n=1, more="\t", step="0.000500")
READ_RIGHT |= {
    "increments of time without a unit": MEASURED + ONE + "X_Value\tCH1\tComment\n" + rows(BLANK, V, separator="\t"),
    "segments without times": MEASURED + 2 * (ONE + "X_Value\tCH1\tComment\n" + rows(BLANK, V, separator="\t") + "\n"),
    "decimal commas and increments": (
        MEASURED + ONE + "X_Value\tCH1\tComment\n" + rows(BLANK, V, separator="\t")
    ).replace(".", ","),
    "a time for each channel": MEASURED
    + BLOCK.format(n=2, more="\t\t40", step="0.000500\t\t0.000500")
    + "X_Value\tCH1\tX_Value\tCH2\tComment\n"
    + rows(T, V, T, OTHER, separator="\t"),
    "comments behind some rows": MEASURED
    + ONE
    + "X_Value\tCH1\tComment\n"
    + each(lambda t, v: f"{t:.6f}\t{v}\t{'OK' if v < 1 else 'LOST COMMUNICATION'}"),
}
READ_RIGHT |= {
    # elements as in replies of meters that public code quotes: '+1.23456789E-03VDC, +11.664SECS, +236RDNG, 000'
    "a buffer, line by line": each(lambda t, v: f"{v:+.8E}VDC,{t:+.4f}SECS,{round(t / STEP):+06d}RDNG#"),
    "a buffer in one line": each(lambda t, v: f"{v:+.4E}NVDC,{t:+015.6f}secs,{round(t / STEP):+06d}RDNG#").replace(
        "\n", ","
    ),
    "a buffer with limits": each(lambda t, v: f"{v:+.8E}VDC, {t:+.4f}SECS, {round(t / STEP):+d}RDNG, 000, 0000LIMITS"),
    "a function behind the voltage": "Index,Time (s),Reading\n"
    + each(lambda t, v: f"{round(t / STEP)},{t:.4f},{v:.4E} VDC"),
    "a column of units": "Time (s),Unit,Reading,Terminal\n" + each(lambda t, v: f"{t:.4f},V,{v:.6E},Front"),
    "dates beside the time": "Reading,Unit,Date,Clock,Elapsed (s)\n"
    + each(lambda t, v: f'{v:.6E},"Volt DC",02/19/2026,09:51:40,{t:.4f}'),
    "a time and its unit run together": "TimeMs,CH1\n" + rows(MS, V),
    "an elapsed time and its unit run together": "elapsedUs;CH1\n" + each(lambda t, v: f"{1e6 * t:.0f};{v}"),
    "a time named last": "DAQ TIME (s),CH1 (V)\n" + rows(T, V),
}
HALF = PLAIN.index("\n", len(PLAIN) // 2) + 1
for mark in ("#", "%", "//", ";;", "!", "*", "--", "REM"):
    READ_RIGHT |= {
        f"comments by {mark}": f"{mark} Sample Interval: 0.5 ms\n{mark} more\nCH1 (V)\n" + rows(V),
        f"comments by {mark} among rows": f"time (s),CH1 (V)\n{PLAIN[:HALF]}{mark} note\n{PLAIN[HALF:]}",
    }


def write(folder: Path, text: str | bytes, name: str = "export.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def is_right(trace: Trace) -> bool:
    return bool(
        np.isclose(trace.interval_s, STEP, rtol=1e-3)
        and trace.samples == len(VOLTS)
        and np.allclose(trace.voltage_v, VOLTS)
        and not trace.flags
    )


@pytest.mark.parametrize("style", READ_RIGHT)
def test_an_export_is_read_right(tmp_path: Path, style: str) -> None:
    channel = 1 if "CH2" in READ_RIGHT[style] else None
    trace = read_trace(write(tmp_path, READ_RIGHT[style]), channel=channel)
    assert is_right(trace), (trace.interval_s, trace.flags, trace.notes, trace.voltage_v[:4])


@pytest.mark.parametrize("encoding", ["latin-1", "utf-16", "utf-16-le", "utf-8-sig"])
def test_an_export_is_read_right_in_any_encoding(tmp_path: Path, encoding: str) -> None:
    text = "Gerät 7;Prüfstand\nZeit [ms];Kanal A [V]\n" + rows(MS, V, separator=";")
    trace = read_trace(write(tmp_path, text.encode(encoding)))
    assert is_right(trace) and trace.channel == "Kanal A"


GUESSED: dict[str, str] = {
    "no unit": "Time,CH1\n" + rows(T, V),
    "no unit, milliseconds in truth": "Time,CH1\n" + rows(MS, V),
    "no title": rows(T, V),
    "a blank first title": ",CH1\n" + rows(T, V),
    "x": "x,y\n" + rows(T, V),
    "counter called time": "Time,CH1\n" + rows(COUNT, V),
    "interval without a unit": "dt = 0.5\nCH1\n" + rows(V),
    "rate without a unit": "sample rate: 2\nCH1\n" + rows(V),
    "thousands of samples a second": 'Samples/s,"2,000"\nCH1\n' + rows(V),
    "thousands set apart by a blank": "Sample rate: 2 000 Hz\nCH1\n" + rows(V),
    "every tenth sample": "Interval,500 us\nDecimation,10\nCH1\n" + rows(V),
    "another interval": "Refresh interval: 100 ms\nCH1\n" + rows(V),
    "a time that may be the whole": "Sampling time: 20 ms\nCH1\n" + rows(V),
    "every fourth sample, said beside the interval": "Interval: 0.5 ms (every 4th sample stored)\nCH1\n" + rows(V),
    "one of ten samples, said beside the rate": "Sample rate: 2 kHz; stored 1 of 10\nCH1\n" + rows(V),
    "a rate that may be in thousands": "Abtastung\nSample rate: 2.000 Hz\nKanal A\n"
    + rows(numbers(VOLTS, decimal=",")),
    "a time named last, without a unit": "DAQ TIME,CH1\n" + rows(T, V),
    "increments that differ from channel to channel": MEASURED
    + BLOCK.format(n=2, more="\t40", step="5.0E-4\t1.0E-3")
    + "X_Value\tCH1\tCH2\n"
    + rows(BLANK, V, OTHER, separator="\t"),
    "header against column": "Sample Interval,1 ms\ntime [s],CH1\n" + rows(T, V),
}


@pytest.mark.parametrize("style", GUESSED)
def test_a_guessed_time_is_flagged_until_it_is_stated(tmp_path: Path, style: str) -> None:
    path = write(tmp_path, GUESSED[style])
    trace = read_trace(path)
    assert trace.flags == ("time-assumed",)
    assert any("--interval" in note or "the column is used" in note for note in trace.notes)
    assert "time-assumed" in measure_file(path, Tachometry(2)).speed.flags
    stated = read_trace(path, interval_s=STEP)
    assert is_right(stated), (stated.interval_s, stated.flags, stated.notes)


REFUSED: dict[str, tuple[str, str]] = {
    "spectrum": ("Frequency (Hz),CH1 (dBV)\n" + rows(T, V), "a spectrum, not a trace"),
    "spectrum in 1/s": ("Frequency [1/s],CH1\n" + rows(T, V), "a spectrum, not a trace"),
    "a period along the bottom": ("Period (ms),CH1\n" + rows(MS, V), "the first column is 'Period' in ms"),
    "a lag along the bottom": ("Lag (ms),CH1\n" + rows(MS, V), "the first column is 'Lag' in ms"),
    "no time, a speed in m/s": ("Velocity (m/s),CH1\n" + rows(T, V), "there is no time column"),
    "scaled seconds": ("Time*1000 (s),CH1\n" + rows(MS, V), "there is no time column"),
    "times of pulses": ("pulse,time_us\n" + rows(COUNT, MS), "counts up by one from row to row"),
    "spectrum, units in a row": ("Source,CH1\nHz,dB\n" + rows(T, V), "a spectrum, not a trace"),
    "counter without an interval": (",CH1\n" + rows(COUNT, V), "only counts the samples.*--interval"),
    "sequence without an interval": ("Sequence,CH1\n" + rows(COUNT, V), "'Sequence' only counts.*--interval"),
    "a clue that is not understood": (
        "CLOCK=500uS\nCH1\n" + rows(V),
        r"no sample interval in the header \('CLOCK=500uS' is not understood\)",
    ),
    "only missing samples": ("time_s,CH1,CH2\n" + rows(T, BLANK, V), "no channel 'CH1'; choose one of CH2"),
    "times of 1.400 that may be 1400": (
        "Zeit (us);CH1 (mV)\n" + each(lambda t, v: swapped(f"{1e6 * t:,.0f};{1e3 * v:.1f}")),
        r"column 'Zeit \(us\)' holds no plain numbers, such as '1.000'; write times such as 0,0015",
    ),
    "interleaved samples": (
        "Channels: 2, interleaved\nSample rate: 2 kHz\nCH1\n" + each(lambda t, v: f"{v:.4f}\n0.5"),
        "samples of several channels follow one another: 'Channels: 2, interleaved'",
    ),
    "words with digits among the numbers": (
        "Time,Gauge 1,Gauge 2,Units\n" + each(lambda t, v: f"2026-03-14 15:09:{26 + 100 * t:02.0f},Range2,{v},volts"),
        r"words stand before or between the numbers of a row, as in '2026-03-14 15:09:28,Range2,0.1,volts'",
    ),
    "units that change from row to row": (
        "Time (s),Reading,Unit\n" + each(lambda t, v: f"{t:.4f},{v if v > 1 else 1e3 * v},{'V' if v > 1 else 'mV'}"),
        "column 3: the unit changes from row to row: mV, V; export the numbers in one unit",
    ),
    "all samples in one line": (
        ",".join(f"{v},{1e-3 * i:.4f}" for i, v in enumerate(VOLTS * 20)),
        "1600 numbers stand in one line.*write one sample to a line",
    ),
    "a buffer of two channels in turn": (
        "".join(f"{v:+.4E}VDC,{STEP * i:+.4f}SECS,{101 + i % 2}INTCHAN\n" for i, v in enumerate(VOLTS)),
        "rows of several channels follow one another: column 'channel' holds 101, 102",
    ),
    "rows along frequency": (
        MEASURED + ONE.replace("Time\nX0", "Frequency\nX0") + "X_Value\tCH1\n" + rows(BLANK, V, separator="\t"),
        "this is a spectrum, not a trace: the header says that the rows run along Frequency",
    ),
    "powers of ten with a cross": (
        "t_s;CH1\n" + each(lambda t, v: f"{1e4 * t:.2f}x10^-4;{v:.4f}"),
        "column 't_s' holds no plain numbers",
    ),
    "letters for powers of ten": (
        "Time;CH1\n" + each(lambda t, v: f"{1e3 * t:.1f}m;{1e3 * v:.0f}m"),
        "no row of numbers",
    ),
    "a fault among the rows": ("time_s,CH1\n" + rows(T, V) + "0.9,oops\n1.0,0.1\n", "line 42, column 2: 'oops'"),
}


@pytest.mark.parametrize("in_turn", [True, False])
def test_rows_of_several_channels_one_after_another_are_refused(tmp_path: Path, in_turn: bool) -> None:
    lines = [each(lambda t, v, k=k: f"{k},{t:.6f},{v}").splitlines() for k in (1, 2)]  # type: ignore[misc]
    ordered = [line for pair in zip(*lines, strict=True) for line in pair] if in_turn else [*lines[0], *lines[1]]
    with pytest.raises(InputError, match="rows of several channels follow one another: column 'Channel' holds 1, 2"):
        read_trace(write(tmp_path, "Channel,time_s,volts\n" + "\n".join(ordered) + "\n"))


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("Sample interval: 0.5 ms\n" + rows(V[::4], V[1::4], V[2::4], V[3::4]), "4 channels, or one trace written 4"),
        ("Channels: 2\nSample interval: 0.5 ms\nCH1 (V)\n" + rows(V), "no more than 1 column of numbers"),
    ],
)
def test_doubtful_columns_are_flagged_until_the_channel_is_stated(tmp_path: Path, text: str, note: str) -> None:
    """Ten samples to a row were once read as ten channels that agree: a speed ten times too high, unsaid."""
    path = write(tmp_path, text)
    trace = read_trace(path)
    assert trace.flags == ("channel-assumed",) and any(note in one for one in trace.notes)
    assert not read_trace(path, channel=1).flags


@pytest.mark.parametrize("title", ["rpm", "T (degC)", "Pressure (mbar)"])
def test_a_column_of_another_quantity_is_flagged_until_it_is_stated(tmp_path: Path, title: str) -> None:
    path = write(tmp_path, f"time_s,{title}\n" + rows(T, V))
    assert read_trace(path).flags == ("channel-assumed",)
    assert not read_trace(path, channel=1).flags


@pytest.mark.parametrize("style", REFUSED)
def test_an_incomplete_file_is_refused_with_what_to_write(tmp_path: Path, style: str) -> None:
    text, message = REFUSED[style]
    with pytest.raises(InputError, match=message):
        read_trace(write(tmp_path, text), channel="CH1")


@pytest.mark.parametrize("word", ["Inf", "inf", "OL", "+OL", "∞", "9.9E+37"])
def test_samples_out_of_range_count_as_clipped(tmp_path: Path, word: str) -> None:
    volts: list[object] = [word if volt > 1 else volt for volt in VOLTS]
    trace = read_trace(write(tmp_path, "time_s,CH1\n" + rows(T, volts)))
    assert trace.samples == len(VOLTS) and trace.voltage_v.max() == pytest.approx(0.3)
    assert any("8 samples out of range" in note for note in trace.notes)


@pytest.mark.parametrize("word", ["NaN", "", "nan", "--", "9.91E37"])
def test_missing_samples_are_bridged_with_a_note(tmp_path: Path, word: str) -> None:
    volts: list[object] = [word if i in (5, 6) else volt for i, volt in enumerate(VOLTS)]
    trace = read_trace(write(tmp_path, "time_s,CH1\n" + rows(T, volts)))
    assert trace.samples == len(VOLTS) and trace.interval_s == pytest.approx(STEP)
    assert trace.voltage_v[5:7] == pytest.approx([0.1 + 1.4 / 3, 0.1 + 2.8 / 3])
    assert any("bridged" in note or "gap" in note for note in trace.notes)


def test_repeated_rounded_times_give_the_interval_of_a_fitted_line(tmp_path: Path) -> None:
    count = 4000
    times = [f"{STEP * i:.2f}" for i in range(count)]
    trace = read_trace(write(tmp_path, "time_s,CH1\n" + rows(times, (V * 100)[:count])))
    assert trace.interval_s == pytest.approx(STEP, rel=1e-3) and trace.samples == count
    assert 0.5e-3 < trace.interval_u_rel < 5e-3 and any("rounded to 0.01 s" in note for note in trace.notes)


def test_pairs_of_extremes_are_read_as_their_mean(tmp_path: Path) -> None:
    low = rows(T, numbers([volt - 0.05 for volt in VOLTS])).splitlines()
    high = rows(T, numbers([volt + 0.05 for volt in VOLTS])).splitlines()
    by_row = "time_s,CH1\n" + "".join(f"{one}\n{other}\n" for one, other in zip(low, high, strict=True))
    by_column = "time_s,CH1 min,CH1 max\n" + rows(
        T, numbers([volt - 0.05 for volt in VOLTS]), numbers([volt + 0.05 for volt in VOLTS])
    )
    for text in (by_row, by_column):
        trace = read_trace(write(tmp_path, text))
        assert is_right(trace) and any("extremes within each interval" in note for note in trace.notes)


def test_levels_written_only_on_change_are_held_in_between(tmp_path: Path) -> None:
    edges = np.cumsum(np.tile([0.02, 0.08], 20))
    trace = read_trace(write(tmp_path, "Time [s],Channel 0\n" + rows(numbers(list(edges)), ["1", "0"] * 20)))
    assert np.mean(trace.voltage_v) == pytest.approx(0.8, abs=0.03)
    assert measure_file(tmp_path / "export.csv", Tachometry(1)).speed.speed_rad_s == pytest.approx(20 * np.pi, rel=1e-3)


@pytest.mark.parametrize("header", ["", "; Sample rate: 100 MHz\n"])
@pytest.mark.parametrize("share", [0.3, 0.45])
def test_alternating_levels_at_uneven_times_are_read_as_changes(tmp_path: Path, share: float, header: str) -> None:
    """Pulses of 30 % of a period were once no signal, or drawn as slopes and doubted for the rate of the converter."""
    edges = np.cumsum(np.tile([0.1 * share, 0.1 - 0.1 * share], 20))
    path = write(tmp_path, header + "Time [s],Channel 0\n" + rows(numbers(list(edges)), ["0", "1"] * 20))
    found = measure_file(path, Tachometry(1))
    assert found.speed.speed_rad_s == pytest.approx(20 * np.pi, rel=1e-3) and not found.speed.flags
    assert np.mean(found.trace.voltage_v) == pytest.approx(share, abs=0.03)


@pytest.mark.parametrize(
    ("titles", "channels"),
    [
        ("Horizontal Scale, 0.020\nSecond,Volt", ("Volt",)),
        ("Run 2: Time (s),Run 2: Potential (V)", ("Run 2: Potential",)),
        ("Time (s) Run #1,Voltage (V) Run #1", ("Voltage Run #1",)),
        ("x-axis,1\nsecond,Volt", ("1",)),
    ],
)
def test_a_channel_is_named_after_its_title(tmp_path: Path, titles: str, channels: tuple[str, ...]) -> None:
    assert read_trace(write(tmp_path, f"{titles}\n" + rows(T, V))).channels == channels


def test_a_text_file_with_another_ending_is_refused_with_the_endings_read(tmp_path: Path) -> None:
    with pytest.raises(
        InputError, match=r"'.log' is not a kind of file .* if it is text, give its name the ending .csv"
    ):
        read_trace(write(tmp_path, "time_s,CH1\n" + rows(T, V), "export.log"))


@pytest.mark.parametrize(
    ("wanted", "name"),
    [("CH4", "CH4"), ("ch 4", "CH4"), ("4", "CH4"), (4, "CH4"), (2, "CH2"), ("CH2 (V)", "CH2"), (["A", "CH4"], "CH4")],
)
def test_a_channel_is_chosen_by_the_name_or_number_of_the_file(tmp_path: Path, wanted: str | int, name: str) -> None:
    path = write(tmp_path, "time_s,CH2 (V),CH4 (V)\n" + rows(T, V, OTHER))
    trace = read_trace(path, channel=wanted)
    assert trace.channel == name and trace.channels == ("CH2", "CH4")
    with pytest.raises(InputError, match="no channel '1'; choose one of CH2, CH4"):
        read_trace(path, channel=1)


def pulses(rate: float, count: int = 4000) -> list[object]:
    phase = np.arange(count) * 1e-3 * rate % 1
    noise = 0.01 * np.random.default_rng(1).standard_normal(count)
    return numbers(list(np.exp(-(((phase - 0.5) / 0.1) ** 2)) + noise))


@pytest.mark.parametrize(
    ("second", "channel", "flags", "note"),
    [
        (lambda: numbers([0.5] * 4000), "B", (), "only 'B' shows a rotor"),
        (lambda: pulses(6.0), "A", (), "agree"),
        (lambda: pulses(9.0), "A", ("channel-assumed",), "different speeds"),
    ],
)
def test_the_channel_that_shows_the_rotor_is_used_and_a_doubtful_one_flagged(
    tmp_path: Path, second: Callable[[], list[object]], channel: str, flags: tuple[str, ...], note: str
) -> None:
    first, other = (second(), pulses(6.0)) if channel == "B" else (pulses(6.0), second())
    time = numbers([1e-3 * i for i in range(4000)])
    found = measure_file(write(tmp_path, "time_s,A,B\n" + rows(time, first, other)), Tachometry(1))
    assert found.trace.channel == channel and found.speed.flags == flags
    assert found.speed.speed_rad_s == pytest.approx(12 * np.pi, rel=1e-3)
    assert any(note in said for said in found.trace.notes)


def test_only_channels_that_show_a_rotor_are_reported_as_agreeing(tmp_path: Path) -> None:
    """A constant temperature beside two sensors was once listed as one that agrees."""
    time = numbers([1e-3 * i for i in range(4000)])
    one = pulses(6.0)
    found = measure_file(write(tmp_path, "time_s,A,B,C\n" + rows(time, one, ["0.5"] * 4000, one)), Tachometry(1))
    assert "the channels A, C agree: 'A' is used" in found.trace.notes


def test_a_channel_behind_a_temperature_is_analysed_once(tmp_path: Path) -> None:
    """It was once said to agree with itself."""
    time = numbers([1e-3 * i for i in range(4000)])
    path = write(tmp_path, "time_s,T (degC),A\n" + rows(time, ["26.2"] * 4000, pulses(6.0)))
    assert "of the channels T, A only 'A' shows a rotor: it is used" in measure_file(path, Tachometry(1)).trace.notes


def test_header_lines_that_were_not_used_are_named(tmp_path: Path) -> None:
    text = "Model Number,XY-1\nVertical Scale,0.5\ntime_s,CH1\n" + rows(T, V)
    assert "header lines not used: 'Model Number', 'Vertical Scale'" in read_trace(write(tmp_path, text)).notes


def test_arrays_of_a_table_are_read_as_text(tmp_path: Path) -> None:
    stream = io.StringIO()
    np.savetxt(stream, np.column_stack([TIMES, VOLTS]), header="time_s CH1_V")
    assert is_right(read_trace(write(tmp_path, stream.getvalue(), "saved.txt")))


def slow_log(kind: str, step: float, count: int = 1800) -> list[float]:
    """Return a pressure, without a rotor anywhere, that is as periodic as one: common practice, no source."""
    time = step * np.arange(count)
    noise = 0.002 * np.random.default_rng(4).standard_normal(count)
    period = count * step / 14
    if kind == "valve":  # gas let in when the pressure has fallen, and pumped away
        part = (time / period) % 1
        return (1 + np.where(part < 0.1, part / 0.1, np.exp(-(part - 0.1) / 0.4)) + noise).tolist()
    return (5 + 0.3 * np.sin(2 * np.pi * time / period) + noise).tolist()


@pytest.mark.parametrize("step", [0.1, 1.0, 10.0])
@pytest.mark.parametrize("kind", ["valve", "room"])
@pytest.mark.parametrize("titles", ["time_s,value", "Time (s),CH1 (V)"])
def test_a_slow_log_without_a_word_for_its_pressure_is_set_aside_until_the_channel_is_stated(
    tmp_path: Path, titles: str, kind: str, step: float
) -> None:
    values = slow_log(kind, step)
    path = write(tmp_path, titles + "\n" + "".join(f"{step * i:.1f},{value:.4f}\n" for i, value in enumerate(values)))
    found = measure_file(path, Tachometry(2))
    assert "channel-assumed" in found.speed.flags
    assert any(f"has a sample every {step:g} s, 1800 in all: a log of a pressure" in note for note in found.trace.notes)
    name = found.trace.channel
    assert "channel-assumed" not in measure_file(path, Tachometry(2, channel=name)).speed.flags


def test_a_slow_rotor_is_known_by_the_title_of_its_sensor_or_by_two_levels(tmp_path: Path) -> None:
    time = 0.1 * np.arange(1200)
    logic = (0.35 * time % 1 < 0.3) * 5.0
    soft = logic + 0.1 * np.random.default_rng(1).standard_normal(time.size)
    for title, values in (("Photodiode (V)", soft), ("CH1 (V)", logic)):
        text = f"Time (s),{title}\n" + "".join(f"{t:.1f},{v:.4f}\n" for t, v in zip(time, values, strict=True))
        found = measure_file(write(tmp_path, text), Tachometry(1)).speed
        assert "channel-assumed" not in found.flags
        assert abs(found.speed_rad_s / (2 * np.pi) - 0.35) < 4 * found.speed_u_rad_s / (2 * np.pi)


@pytest.mark.parametrize("mark", ["'", ",", "\u202f"])
def test_numbers_of_which_some_have_marks_between_thousands_are_all_read(tmp_path: Path, mark: str) -> None:
    """Long times all have them, and of the voltages some: once these alone were read, as segments between words."""
    rows = [f"{100 * i:,.1f};{1000 + 700 * np.sin(0.2 * i):,.1f}".replace(",", mark) for i in range(1, 3001)]
    trace = read_trace(write(tmp_path, "Sample interval: 0.1 ms\nTime (us);U (mV)\n" + "\n".join(rows) + "\n"))
    assert trace.samples == 3000 and trace.interval_s == pytest.approx(1e-4) and trace.flags == ()
    assert np.allclose(trace.voltage_v, 1 + 0.7 * np.sin(0.2 * np.arange(1, 3001)), atol=1e-4)


def test_the_note_on_further_segments_stays_where_other_notes_are_added(tmp_path: Path) -> None:
    path = write(tmp_path, READ_RIGHT["segments without times"])
    assert any(note.startswith("2 segments") for note in measure_file(path, Tachometry(2)).trace.notes)
    assert is_right(read_trace(path.rename(tmp_path / "export.lvm")))


@pytest.mark.parametrize(("rate", "duty"), [(7.3, 0.3), (7.3, 0.08), (5.0, 0.08)])
def test_edges_of_even_marks_do_not_drift_along_the_grid_of_held_levels(
    tmp_path: Path, rate: float, duty: float
) -> None:
    """Nearly a whole number of steps to a pulse once gave rates off by 5 to 22 of their uncertainties, unsaid."""
    rises = (np.arange(1, int(16 * rate)) - 0.13) / (4 * rate)
    edges = np.sort(np.concatenate([rises, rises + duty / (4 * rate)]))
    text = "Time [s],Channel 0\n0.000000000,0\n" + "".join(f"{t:.9f},{(i + 1) % 2}\n" for i, t in enumerate(edges))
    found = measure_file(write(tmp_path, text), Tachometry(4)).speed
    found_hz, u_hz = found.speed_rad_s / (2 * np.pi), found.speed_u_rad_s / (2 * np.pi)
    assert found.flags == () and abs(found_hz - rate) < 3 * u_hz < 1e-3 * rate
