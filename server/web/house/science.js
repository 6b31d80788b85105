// SPDX-License-Identifier: MIT
// The science on the phone: the server's own functions, compiled to WebAssembly. No
// second implementation stands here; only values go in and come out, under the names
// of the API.

const EDGES = ["umbra", "penumbra", "centre"];
const SERIES = ["declination_deg", "equation_s", "distance_au"];
const there = (value) => (Number.isNaN(value) ? null : value);
// Standard uncertainty of a position rounded to so many decimals: evenly spread.
const roundedTo = (decimals) => (decimals === null || decimals === undefined ? 0 : 10 ** -decimals / Math.sqrt(12));
const orNan = (value) => value ?? NaN;

export async function scienceOf(bytes) {
  const { instance } = await WebAssembly.instantiate(bytes, {}); // it asks for nothing from outside
  const page = instance.exports;
  page._initialize();

  function text(at) {
    if (at === 0) return null;
    const memory = new Uint8Array(page.memory.buffer);
    return new TextDecoder().decode(memory.subarray(at, memory.indexOf(0, at)));
  }
  function named(nameOf, valueOf) {
    const found = {};
    for (let i = 0, name; (name = text(nameOf(i))) !== null; i += 1) found[name] = there(valueOf(i));
    return found;
  }

  // place as the API's site (lat_deg, lon_deg, elev_m, position_decimals), sun as the API's /suns/{date}.
  function set(place, sun) {
    page.page_place(place.lat_deg, place.lon_deg, place.elev_m, roundedTo(place.position_decimals));
    page.page_sun(sun.centre_utc_s, sun.half_span_s);
    SERIES.forEach((series, i) => sun[series].forEach((value, term) => page.page_sun_term(i, term, value)));
  }

  // clock: {offset_s, sigma_s}, null where it was not measured; day: the API's day with
  // its rule for clocks. Gives the API's check of it.
  function setClock(clock, { clock_bound_s, clock_correct }) {
    if ((clock ?? null) === null) return null;
    page.page_clock(clock.offset_s, clock.sigma_s, clock_bound_s, Number(clock_correct));
    return { ...clock, bound_s: clock_bound_s, beyond: page.page_clock_beyond() !== 0, applied_s: page.page_clock_applied_s() };
  }

  function leftOut(i) {
    const causes = [0, 1, 2].map((cause) => text(page.page_left_out_slip(i, cause)));
    return {
      reading: page.page_left_out_reading(i),
      reason: causes[0],
      also: causes.slice(1).filter((cause) => cause !== "none"),
      residual_deg: there(page.page_left_out_residual_deg(i)),
      residual_sigma: there(page.page_left_out_residual_sigma(i)),
      instead_mm: there(page.page_left_out_instead_m(i) * 1000),
    };
  }

  function estimates() {
    const found = {};
    for (let i = 0, name; (name = text(page.page_estimator_name(i))) !== null; i += 1)
      found[name] = page.page_estimate_usable(i) === 0 ? null : {
        noon_angle_deg: page.page_estimate_deg(i),
        sigma_deg: page.page_estimate_sigma_deg(i),
        transit_utc_s: there(page.page_estimate_transit_utc_s(i)),
      };
    return found;
  }

  return {
    // run as it is sent to the API, its times as t_utc_s (seconds) instead of text; day as
    // the API's. Gives the API's reduction, with times likewise.
    reduce(place, sun, run, day) {
      set(place, sun);
      page.page_run(EDGES.indexOf(run.gnomon.edge), orNan(run.pressure_hpa), orNan(run.temperature_c),
        orNan(run.clock_sigma_s), orNan(run.tilt_sigma_deg));
      const clock = setClock(run.clock, day);
      for (const { length_mm, sigma_mm } of run.gnomon.parts) page.page_part(length_mm / 1000, orNan(sigma_mm) / 1000);
      for (const { t_utc_s, shadow_mm, sigma_mm } of run.readings) page.page_reading(t_utc_s, shadow_mm / 1000, orNan(sigma_mm) / 1000);
      page.page_reduce();
      const { random_deg, clock_deg, height_deg, tilt_deg, edge_deg, air_deg, position_deg, ...figures } = named(page.page_figure_name, page.page_figure);
      const slip = text(page.page_run_slip());
      return {
        method: text(page.page_method()),
        status: text(page.page_status()),
        noon_status: text(page.page_noon_status()),
        run_slip: slip === "none" ? null : slip,
        ...figures,
        clock,
        budget: { random_deg, clock_deg, height_deg, tilt_deg, edge_deg, air_deg, position_deg },
        estimates: estimates(),
        left_out: Array.from({ length: page.page_left_outs() }, (_, i) => leftOut(i)),
        steps: run.readings.map((_, i) => named(page.page_step_name, (step) => page.page_step(i, step))),
      };
    },
    // After reduce: the shadow (mm) on the fitted curve at a time of the run's clock.
    curve_mm: (t_s) => there(page.page_curve_m(t_s) * 1000),
    // What a day's rule makes of a clock, before there is a run.
    clockCheck(clock, day) {
      page.page_run(0, NaN, NaN, NaN, NaN);
      return setClock(clock, day);
    },
    transit_utc_s(place, sun) {
      set(place, sun);
      return page.page_transit_utc_s();
    },
  };
}
