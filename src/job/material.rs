//! Matrix and tow materials.

/// A thermoplastic matrix.
#[derive(Clone, Debug, PartialEq)]
pub struct Matrix {
    /// Name, as in `material list`.
    pub name: String,
    /// Family: what a tow must be impregnated with to fit, as `PA12`.
    pub polymer: String,
    /// Density, g/cm3.
    pub density_g_cm3: f64,
    /// Temperature at which it is extruded, degC.
    pub process_temperature_c: f64,
    /// Lowest and highest temperature at which it may be extruded, degC.
    pub temperature_range_c: [f64; 2],
    /// Fastest that one head may melt it, mm3/s.
    pub max_flow_mm3_s: f64,
}

/// A continuous-fibre tow, pre-impregnated.
#[derive(Clone, Debug, PartialEq)]
pub struct Tow {
    /// Name, as in `material list`.
    pub name: String,
    /// The polymer that it is impregnated with, as `PA12`.
    pub polymer: String,
    /// Width as laid, mm.
    pub width_mm: f64,
    /// Height as laid, mm.
    pub height_mm: f64,
    /// Cross-section of the tow (fibre and its impregnation, without pores), mm2.
    pub area_mm2: f64,
    /// Cross-section of the bare fibre, mm2.
    pub fibre_area_mm2: f64,
    /// Smallest bend radius of the centre line, mm.
    pub min_bend_radius_mm: f64,
    /// Density of the tow without pores, g/cm3.
    pub density_g_cm3: f64,
    /// Number of filaments.
    pub filaments: u32,
    /// Filament diameter, um.
    pub filament_um: f64,
    /// Density of the fibre, g/cm3.
    pub fibre_density_g_cm3: f64,
    /// Temperature at which it is laid, degC.
    pub process_temperature_c: f64,
}
