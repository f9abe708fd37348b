#!/usr/bin/env python3
# Copy of the timing script that the project was given (general-purpose libraries on our own job), taken 2026-11-25, unchanged below.
"""Time general-purpose physical-optics libraries on the engine's own job, side by side.

The job: a pupil of n x n area-weighted samples (amplitude) with a wavefront error (nm),
propagated in the Fraunhofer approximation to an m x m grid of a fixed pitch on the sensor,
for each wavelength, summed with equal weights, then added up into square detector pixels.
Nothing but the propagation is timed: every library gets the same amplitude and wavefront
arrays in memory, and returns detector pixels.

    python peers.py WORKDIR [--runs 3] [--threads 2]

writes WORKDIR/<job>.json (parameters), WORKDIR/<job>.amplitude.npy and .opd_nm.npy (float64)
when they are missing, WORKDIR/<job>.<library>.npy (the pixels) and prints one line a library:
median wall seconds, and relative L2 difference from the matrix transform written out in numpy.
Needs numpy, scipy, and whichever of prysm, hcipy, poppy are installed.
"""
import argparse
import json
import os
import statistics
import time
from pathlib import Path

JOBS = {
    # a slotted mask at focus: the heavy case
    "masked": dict(n=2048, m=1024, pitch_um=0.94, bin=4, f_number=2.2, aperture_mm=210.0,
                   obstruction_mm=92.0, wavelengths_nm=[460, 480, 500, 520, 540, 560, 580, 600, 620],
                   slots=True, coma_nm_rms=90.0, defocus_nm_rms=40.0),
    # a defocused star through an open annulus: the interactive case
    "doughnut": dict(n=512, m=512, pitch_um=0.94, bin=4, f_number=2.2, aperture_mm=210.0,
                     obstruction_mm=92.0, wavelengths_nm=[480, 540, 600],
                     slots=False, coma_nm_rms=90.0, defocus_nm_rms=2500.0),
}


def make_pupil(job, oversample=4):
    """Amplitude (area fraction, n x n) and wavefront error (nm, n x n) of a job."""
    import numpy as np
    n, radius = job["n"], job["aperture_mm"] / 2
    fine = n * oversample
    x = (np.arange(fine) - (fine - 1) / 2) * (2 * radius / fine)
    amplitude = np.zeros((n, n))
    for row in range(0, n, 64):
        yy, xx = x[row * oversample:(row + 64) * oversample][:, None], x[None, :]
        r = np.hypot(xx, yy)
        open_ = (r <= radius) & (r >= job["obstruction_mm"] / 2)
        if job["slots"]:
            azimuth = np.degrees(np.arctan2(yy, xx)) % 360
            slotted = np.zeros_like(open_)
            for k in range(6):  # six wedges of 60 degrees, slots turned by 0, +20 or -20 degrees
                wedge = (azimuth - 60 * k) % 360 < 60
                angle = np.radians(60 * k + 30 + (0, 20, -20)[k % 3])
                across = -np.sin(angle) * xx + np.cos(angle) * yy
                slotted |= wedge & ((across / 4.0) % 1.0 < 0.5)
            open_ &= slotted & (r <= radius - 3) & (r >= job["obstruction_mm"] / 2 + 3)
        amplitude[row:row + 64] = open_.reshape(64, oversample, n, oversample).mean(axis=(1, 3))
    u = (np.arange(n) - (n - 1) / 2) * (2 / n)
    x, y = np.meshgrid(u, u)
    r2 = x * x + y * y
    opd = (job["coma_nm_rms"] * np.sqrt(8) * (3 * r2 - 2) * x
           + job["defocus_nm_rms"] * np.sqrt(3) * (2 * r2 - 1))
    return amplitude, np.where(r2 <= 1.0, opd, 0.0)


def to_pixels(intensity, job):
    k = job["bin"]
    m = intensity.shape[0] // k
    return intensity.reshape(m, k, m, k).sum(axis=(1, 3))


def run_numpy(job, amplitude, opd):
    import numpy as np
    n, m = job["n"], job["m"]
    u = (np.arange(m) - (m - 1) / 2) * job["pitch_um"]
    x = (np.arange(n) - (n - 1) / 2) / n
    total = 0
    for lam in job["wavelengths_nm"]:
        kernel = np.exp(-2j * np.pi * np.outer(u, x) / (lam * 1e-3 * job["f_number"]))
        field = amplitude * np.exp(2j * np.pi * opd / lam)
        total = total + np.abs(kernel @ field @ kernel.T) ** 2 / lam**2  # unit power at each wavelength
    return to_pixels(total, job)


def run_prysm(method):
    def run(job, amplitude, opd):
        from prysm.propagation import Wavefront
        total = 0
        for lam in job["wavelengths_nm"]:
            wave = Wavefront.from_amp_and_phase(amplitude, opd, lam * 1e-3, job["aperture_mm"] / job["n"])
            focal = wave.focus_fixed_sampling(job["aperture_mm"] * job["f_number"], job["pitch_um"],
                                              job["m"], method=method, shift=(-job["pitch_um"] / 2,) * 2)
            total = total + focal.intensity.data
        return to_pixels(total, job)
    return run


def run_hcipy(job, amplitude, opd):
    import numpy as np
    import hcipy
    pupil = hcipy.make_pupil_grid(job["n"], job["aperture_mm"] * 1e-3)
    focal = hcipy.make_uniform_grid([job["m"]] * 2, [job["m"] * job["pitch_um"] * 1e-6] * 2)
    propagate = hcipy.FraunhoferPropagator(pupil, focal, focal_length=job["aperture_mm"] * 1e-3 * job["f_number"])
    total = 0
    for lam in job["wavelengths_nm"]:
        field = hcipy.Field((amplitude * np.exp(2j * np.pi * opd / lam)).ravel(), pupil)
        total = total + propagate(hcipy.Wavefront(field, lam * 1e-9)).intensity.shaped
    return to_pixels(np.asarray(total), job)


def run_poppy(job, amplitude, opd):
    import numpy as np
    from poppy.matrixDFT import matrix_dft
    total = 0
    for lam in job["wavelengths_nm"]:
        field = amplitude * np.exp(2j * np.pi * opd / lam)
        width = job["m"] * job["pitch_um"] / (lam * 1e-3 * job["f_number"])  # in lambda / D
        total = total + np.abs(matrix_dft(field, width, job["m"], centering="SYMMETRIC")) ** 2
    return to_pixels(total, job)


LIBRARIES = {"numpy": run_numpy, "prysm-matrix": run_prysm("mdft"), "prysm-chirp": run_prysm("czt"),
             "hcipy": run_hcipy, "poppy": run_poppy}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("workdir", type=Path)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--threads", type=int, default=os.cpu_count())
    parser.add_argument("--only", nargs="*", default=list(LIBRARIES))
    args = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"):
        os.environ[name] = str(args.threads)
    import numpy as np
    args.workdir.mkdir(parents=True, exist_ok=True)
    for job_name, job in JOBS.items():
        base = args.workdir / job_name
        base.with_suffix(".json").write_text(json.dumps(job, indent=1))
        paths = [Path(f"{base}.{part}.npy") for part in ("amplitude", "opd_nm")]
        if not all(p.exists() for p in paths):
            for path, array in zip(paths, make_pupil(job)):
                np.save(path, array)
        amplitude, opd = (np.load(p) for p in paths)
        reference = None
        for name in args.only:
            run = LIBRARIES[name]
            try:
                pixels = run(job, amplitude, opd)  # warm-up: imports, planning
                seconds = []
                for _ in range(args.runs):
                    start = time.perf_counter()
                    pixels = run(job, amplitude, opd)
                    seconds.append(time.perf_counter() - start)
            except Exception as error:  # a library that is missing or cannot do the job says so
                print(f"{job_name:9s} {name:13s} not run: {type(error).__name__}: {error}")
                continue
            np.save(f"{base}.{name}.npy", pixels)
            shape = pixels / pixels.sum()
            reference = shape if reference is None else reference
            # the sign of the transform's exponent is a convention: it turns the image by 180 degrees
            off = min(float(np.linalg.norm(s - reference) / np.linalg.norm(reference))
                      for s in (shape, shape[::-1, ::-1]))
            print(f"{job_name:9s} {name:13s} {statistics.median(seconds):8.3f} s   rel. L2 {off:.1e}", flush=True)


if __name__ == "__main__":
    main()
