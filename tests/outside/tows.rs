//! Cross-sections, densities and volume fractions of tows.
//!
//! Fibre area from linear density, A = tex / (1000 rho), and contents by mass and
//! density, Vf = Wf rho_c / rho_f: ISO 14127 and ASTM D3171, ASTM D2734 for pores
//! (formulas from memory); A = N pi d^2 / 4 is the area of N circles. Numbers
//! worked out by hand from them to the digits shown.

use std::sync::Arc;
use towpath::diagnostic::Source;
use towpath::job::builtin::TOWS;
use towpath::job::material::{fibre_area_mm2, read_tow};
use towpath::job::{Tow, built_in_text};

fn built_in() -> Vec<Tow> {
    TOWS.iter().map(|b| read_tow(&built_in_text(b)).expect("a built-in tow has no faults")).collect()
}

fn tow(width: f64, height: f64, area: f64, filaments: u32, density: f64) -> Arc<Source> {
    let text = format!(
        "kind = \"tow\"\nname = \"t\"\ndescription = \"d\"\npolymer = \"PEEK\"\nfilaments = {filaments}\n\
         filament_um = 7.0\nfibre_density_g_cm3 = 1.79\nwidth_mm = {width}\nheight_mm = {height}\n\
         area_mm2 = {area}\ndensity_g_cm3 = {density}\nmin_bend_radius_mm = 6\nprocess_temperature_c = 390\n"
    );
    Arc::new(Source { name: "t.toml".to_owned(), text })
}

#[test]
fn area_of_filaments() {
    for (filaments, um, mm2) in
        [(1000, 7.0, 0.038_484_5), (3000, 7.0, 0.115_453_5), (12_000, 7.0, 0.461_814_1)]
    {
        let a = fibre_area_mm2(filaments, um);
        assert!((a - mm2).abs() < 6e-8, "{filaments} x {um} um: {a} mm2, not {mm2}");
    }
}

#[test]
fn area_and_linear_density_are_one_thing() {
    // tex = 1000 rho A
    for (filaments, rho, tex) in [(1000, 1.76, 67.733), (3000, 1.76, 203.198), (12_000, 1.79, 826.647)] {
        let got = 1000.0 * rho * fibre_area_mm2(filaments, 7.0);
        assert!((got - tex).abs() < 6e-4, "{filaments} filaments: {got} tex, not {tex}");
    }
    // nominal tows of the trade, by tex: their filament counts come out within the
    // few per cent to which diameters are nominal
    for (tex, rho, filaments) in [(66.0, 1.76, 1000), (200.0, 1.76, 3000), (800.0, 1.79, 12_000)] {
        let from_tex = tex / (1000.0 * rho);
        let from_count = fibre_area_mm2(filaments, 7.0);
        assert!((from_tex / from_count - 1.0).abs() < 0.04, "{tex} tex: {from_tex} and {from_count} mm2");
    }
}

#[test]
fn built_in_tows_hold_together() {
    for t in built_in() {
        let a = fibre_area_mm2(t.filaments, t.filament_um);
        assert!((t.fibre_area_mm2 - a).abs() < 1e-12, "{}", t.name);
        assert!(t.area_mm2 <= t.width_mm * t.height_mm, "{}", t.name);
        let vf = t.fibre_fraction();
        assert!((0.4..=0.65).contains(&vf), "{}: fibre volume fraction {vf}", t.name);
        // rule of mixtures with the polymer's density, to the 3 decimals typed
        let polymer = match t.polymer.as_str() {
            "PA12" => 1.01,
            "PEEK" => 1.30,
            "PEKK" => 1.29,
            other => panic!("no density for {other}"),
        };
        let rho = vf * t.fibre_density_g_cm3 + (1.0 - vf) * polymer;
        assert!((rho - t.density_g_cm3).abs() < 6e-4, "{}: {rho} g/cm3", t.name);
    }
}

#[test]
fn three_thousand_filaments_do_not_fit_a_small_bead() {
    // 0.115 453 5 / (0.9 x 0.125) = 1.026
    let faults = read_tow(&tow(0.9, 0.125, 0.1125, 3000, 1.6)).expect_err("more fibre than room");
    let said: Vec<&str> = faults.0.iter().map(|d| d.message.as_str()).collect();
    assert!(faults.0.iter().all(|d| d.code == "tow-section"), "{said:?}");
    assert!(said.iter().any(|m| m.contains("1.026")), "{said:?}");
}

#[test]
fn a_section_is_full_at_most() {
    // area = width x height fits; a hair more does not
    assert!(read_tow(&tow(1.0, 0.2, 0.2, 3000, 1.594)).is_ok());
    assert!(read_tow(&tow(1.0, 0.2, 0.200_1, 3000, 1.594)).is_err());
}

#[test]
fn density_back_to_the_impregnation() {
    // Vf 0.60 of 1.79 in PEEK of 1.30: 1.594 g/cm3; fibre 0.115 453 5 / 0.6 = 0.192 422 5 mm2
    assert!(read_tow(&tow(1.0, 0.2, 0.192_422_5, 3000, 1.594)).is_ok());
    // what no polymer can make up for
    for density in [1.30, 1.85] {
        let faults = read_tow(&tow(1.0, 0.2, 0.192_422_5, 3000, density)).expect_err("no such polymer");
        assert_eq!(faults.0.first().map(|d| d.code), Some("tow-density"), "{density}");
    }
}
